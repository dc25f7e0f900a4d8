//! `page`

use std::path::PathBuf;

use clap::Args;
use motefield_files::{FileError, may_write, read_text, write};
use motefield_rig::setup::{Document, Referenced, Setup};

use crate::exit::{Exit, Failure};
use crate::output::print;

#[derive(Args)]
pub struct PageCommand {
    /// Setup file (TOML) that the page begins with; the embedded rig by default
    setup: Option<PathBuf>,
    /// File to write
    #[arg(short, long, default_value = "motefield.html")]
    out: PathBuf,
    /// Overwrites an existing file
    #[arg(long)]
    force: bool,
}

/// The page that `page/build` wrote before this program was built.
#[cfg(feature = "page")]
const PAGE: Option<&str> = Some(include_str!("../page/dist/motefield.html"));
#[cfg(not(feature = "page"))]
const PAGE: Option<&str> = None;

const HOW_TO_BUILD: &str = "this program was built without the live page; in a checkout, run page/build, which writes page/dist/motefield.html, and then cargo build --release --features page";

/// Where the page keeps the rig that it begins with.
const EMPTY: &str = "<script id=\"rig\" type=\"application/json\"></script>";

impl PageCommand {
    pub fn run(&self) -> Result<Exit, Failure> {
        let page = PAGE.ok_or_else(|| Failure::input(HOW_TO_BUILD))?;
        let page = match &self.setup {
            None => page.to_owned(),
            Some(path) => {
                let text = read_text(path)?;
                let document = Document::parse(&path.display().to_string(), &text)?;
                Setup::read(document, Referenced::on_disk())?;
                with_rig(page, &text)
            }
        };
        may_write(&self.out, self.force).map_err(|e| match e {
            FileError::Exists { .. } => Failure::input(format!("{e}; choose another --out, or use --force")),
            other => other.into(),
        })?;
        write(&self.out, page.as_bytes())?;
        print(&format!(
            "Wrote {}. Open it in a browser: it needs no server and no network.\n",
            self.out.display()
        ))?;
        Ok(Exit::Done)
    }
}

/// The page with a setup's text inside. Whatever the text says, it cannot end the element that
/// holds it: JSON may write each `<` as an escape.
fn with_rig(page: &str, text: &str) -> String {
    let json = serde_json::Value::from(text).to_string().replace('<', "\\u003c");
    let filled = EMPTY.replace("></", &format!(">{json}</"));
    page.replacen(EMPTY, &filled, 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hostile_setup_stays_inside_its_element() {
        let hostile = "# </script><script>alert(1)</script>\n[light]\n";
        let page = with_rig(&format!("<body>{EMPTY}</body>"), hostile);
        assert_eq!(page.matches("</script>").count(), 1, "{page}");
        let (_, inside) = page.split_once("application/json\">").unwrap();
        let (inside, _) = inside.split_once("</script>").unwrap();
        let read: String = serde_json::from_str(inside).unwrap();
        assert_eq!(read, hostile);
    }
}
