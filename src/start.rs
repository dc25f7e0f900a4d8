//! `start`

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use motefield_files::{FileError, may_write, write};

use crate::exit::{Exit, Failure};
use crate::output::print;

#[derive(Args)]
pub struct StartCommand {
    /// The rig that is most like yours
    #[arg(value_enum)]
    from: StartingPoint,
    /// File to write; one that is there is left as it is
    file: PathBuf,
}

/// Rigs to start from.
#[derive(Clone, Copy, ValueEnum)]
enum StartingPoint {
    /// A bar of laser diodes over a water channel
    DiodeWater,
    /// A line of pulsed LEDs on a tank
    LedTank,
    /// A double-pulse laser in a wind tunnel
    LaserTunnel,
    /// A lamp over a river, filmed from a bridge
    LampRiver,
    /// A small channel under a microscope
    Microchannel,
}

impl StartingPoint {
    fn setup(self) -> &'static str {
        match self {
            StartingPoint::DiodeWater => include_str!("../cases/start/diode-water.toml"),
            StartingPoint::LedTank => include_str!("../cases/start/led-tank.toml"),
            StartingPoint::LaserTunnel => include_str!("../cases/start/laser-tunnel.toml"),
            StartingPoint::LampRiver => include_str!("../cases/start/lamp-river.toml"),
            StartingPoint::Microchannel => include_str!("../cases/start/microchannel.toml"),
        }
    }

    /// What to ask after the plan.
    fn then(self, file: &str) -> String {
        match self {
            StartingPoint::DiodeWater | StartingPoint::LedTank | StartingPoint::Microchannel => {
                format!("ask how long a pulse may be:\n  motefield decide {file}")
            }
            StartingPoint::LaserTunnel => {
                format!("ask how far apart the pulses should be:\n  motefield decide {file}")
            }
            StartingPoint::LampRiver => {
                format!("ask how long an exposure may be:\n  motefield decide {file}")
            }
        }
    }
}

impl StartCommand {
    pub fn run(&self) -> Result<Exit, Failure> {
        may_write(&self.file, false).map_err(|e| match e {
            FileError::Exists { .. } => Failure::input(format!("{e}; choose another name")),
            other => other.into(),
        })?;
        write(&self.file, self.from.setup().as_bytes())?;
        let file = self.file.display();
        print(&format!(
            "Wrote {file}. Change its figures to yours, and see what the rig will show:\n  motefield plan {file}\nThen {}\n",
            self.from.then(&file.to_string())
        ))?;
        Ok(Exit::Done)
    }
}
