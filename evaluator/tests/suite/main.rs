//! Tests of the evaluator through its public surface.

mod accuracy;
mod bootstrap;
mod bound;
mod components;
mod conventions;
mod correlation;
mod deform;
mod dynamic_range;
mod ensemble;
mod matching;
mod outlier;
mod particle_fit;
mod passes;
mod peak;
mod peak_locking;
mod prepare;
mod propagation;
mod reliability;
mod response;
mod score;
mod statistics;
mod support;
mod uncertainty;
