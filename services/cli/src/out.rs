//! What goes to standard output: colour on a terminal only, and no word about a reader that left.

use std::io::{IsTerminal as _, Write as _, stdout};

/// Prints to standard output; a pipe that was closed ends it in silence.
///
/// # Errors
/// Standard output cannot be written.
pub fn print(text: &str) -> std::io::Result<()> {
    let mut out = stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => Ok(()),
        other => other,
    }
}

/// Whether colour may be used.
pub(crate) fn coloured() -> bool {
    let refused = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
    !refused && stdout().is_terminal()
}

/// A heading.
pub(crate) fn heading(text: &str, coloured: bool) -> String {
    if coloured { format!("\u{1b}[1m{text}\u{1b}[0m\n") } else { format!("{text}\n") }
}
