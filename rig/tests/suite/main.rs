//! Tests of the rig through its public surface.

mod medium;
mod microscope;
mod optics;
mod parts;
mod photometry;
mod scattering;
