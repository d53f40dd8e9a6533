//! The frozen bytes that travel between coordinator and stations.
