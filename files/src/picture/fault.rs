//! Why a picture cannot be used.

/// Why the pictures of a file are not read.
#[derive(Debug, thiserror::Error)]
pub(super) enum PictureFault {
    #[error("it is a picture in colour, and no channel is named")]
    NoChannel,
    #[error("{0}")]
    Unread(String),
}

impl From<String> for PictureFault {
    fn from(why: String) -> PictureFault {
        PictureFault::Unread(why)
    }
}
