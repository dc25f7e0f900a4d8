//! Tests of the generator through its public surface.

mod brownian;
mod crops;
mod flow;
mod flow_data;
mod flow_fields;
mod flow_forms;
mod flow_turbulence;
mod imaging;
mod light;
mod pair;
mod pixels;
mod population;
mod pulse_shape;
mod sensor;
