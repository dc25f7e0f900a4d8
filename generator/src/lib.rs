//! From a scene to particle-image pairs with exactly known displacement.
