//! Every sentence a person can meet, rendered from a key and its arguments.
