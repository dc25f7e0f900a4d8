//! Tables and answers become what a person sees or a program reads.

pub mod curve;
pub mod decide;
pub mod figure;
pub mod manifest;
pub mod plan;
pub mod reliability;
pub mod response;
pub mod specimen;
pub mod table;
pub mod verify;
