//! Links between the programs: identities, mutual TLS with pinned keys, framed QUIC streams.
