//! The boundary between the page's script and [`landfall_plan::page::answer`]: bytes in, bytes out.
//!
//! The script asks [`page_room`] for room, writes a request there in UTF-8, calls [`page_answer`] and reads the answer
//! at [`page_answer_at`]. A module has one page and one thread, so one request and one answer are kept.

use std::cell::RefCell;

/// The digest of the sources, which the command looks for in the module's bytes.
#[used]
static SOURCES: &str = env!("LANDFALL_SOURCES");

thread_local! {
    static REQUEST: RefCell<Vec<u8>> = const { RefCell::new(Vec::new()) };
    static ANSWER: RefCell<String> = const { RefCell::new(String::new()) };
}

/// Longest request that room is made for: far more than the longest site file.
const LONGEST: usize = 1 << 20;

/// Room for a request of so many bytes; null where it is too long.
#[unsafe(no_mangle)]
pub extern "C" fn page_room(bytes: usize) -> *mut u8 {
    if bytes > LONGEST {
        return std::ptr::null_mut();
    }
    REQUEST.with_borrow_mut(|request| {
        request.clear();
        request.resize(bytes, 0);
        request.as_mut_ptr()
    })
}

/// Answers the request that was written; gives the answer's length in bytes.
#[unsafe(no_mangle)]
pub extern "C" fn page_answer() -> usize {
    let request = REQUEST.with_borrow_mut(std::mem::take);
    let answer = landfall_plan::page::answer(&String::from_utf8_lossy(&request));
    let length = answer.len();
    ANSWER.set(answer);
    length
}

/// Where the answer begins.
#[unsafe(no_mangle)]
pub extern "C" fn page_answer_at() -> *const u8 {
    ANSWER.with_borrow(|answer| answer.as_ptr())
}

/// Where the digest of the sources stands, as a text of 33 bytes.
#[unsafe(no_mangle)]
pub extern "C" fn page_sources() -> *const u8 {
    SOURCES.as_ptr()
}
