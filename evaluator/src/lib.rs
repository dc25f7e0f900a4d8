//! From image pairs to displacement vectors, and from vectors to errors.
