//! Which pictures are worth all threads.

/// Pictures of more pixels than this are rendered by all threads together. Of smaller ones each
/// thread is expected to render its own.
const SHARED_FROM: usize = 1 << 22;

/// Whether a picture of this width and height, px, is rendered by all threads together. Render such
/// pictures one after another, and smaller ones in parallel.
///
/// ```
/// use motefield_generator::pair::shared;
///
/// assert!(shared([4096, 4096]) && !shared([1024, 1024]));
/// ```
pub fn shared([width, height]: [usize; 2]) -> bool {
    width * height > SHARED_FROM
}

/// Whether this thread is to share its picture with the others: a large one, unless it is one of
/// many that threads of a pool render side by side already. Then each would wait for the others'
/// parts with a picture of its own in memory.
pub(crate) fn shares(size: [usize; 2]) -> bool {
    shared(size) && rayon::current_thread_index().is_none()
}

/// Does two things: on a thread of a pool the second by another of its threads, if one has nothing
/// else to do.
pub(crate) fn side_by_side<A: Send, B: Send>(
    one: impl FnOnce() -> A + Send,
    other: impl FnOnce() -> B + Send,
) -> (A, B) {
    match rayon::current_thread_index() {
        Some(_) => rayon::join(one, other),
        // From elsewhere both would have to be handed to the pool, and waited for.
        None => (one(), other()),
    }
}
