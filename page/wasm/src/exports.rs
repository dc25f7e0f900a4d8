//! What JavaScript calls. No pointer is followed here: both sides share a buffer that this one
//! owns.

use std::cell::RefCell;

use crate::module::Module;

thread_local! {
    static MODULE: RefCell<Module> = RefCell::default();
    static INPUT: RefCell<Vec<u8>> = const { RefCell::new(Vec::new()) };
    static OUTPUT: RefCell<Vec<u8>> = const { RefCell::new(Vec::new()) };
}

/// Makes room for a request of so many bytes; where it is to be written.
#[allow(unsafe_code)]
#[unsafe(no_mangle)]
pub extern "C" fn motefield_input(bytes: usize) -> *const u8 {
    INPUT.with_borrow_mut(|input| {
        *input = vec![0; bytes];
        input.as_ptr()
    })
}

/// Answers the request; bytes of the answer.
#[allow(unsafe_code)]
#[unsafe(no_mangle)]
pub extern "C" fn motefield_answer() -> usize {
    let request = INPUT.take();
    let answer = MODULE.with_borrow_mut(|module| module.answer(&request)).bytes();
    OUTPUT.with_borrow_mut(|output| {
        *output = answer;
        output.len()
    })
}

/// Where the answer stands until the next request.
#[allow(unsafe_code)]
#[unsafe(no_mangle)]
pub extern "C" fn motefield_output() -> *const u8 {
    OUTPUT.with_borrow(|output| output.as_ptr())
}
