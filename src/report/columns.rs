//! Text cut and filled to columns, for the terminal, tickets and e-mail.

use textwrap::core::display_width;

/// At most `columns` wide; what is cut off leaves three dots.
pub(crate) fn clip(text: &str, columns: usize) -> String {
    if display_width(text) <= columns {
        return text.to_owned();
    }
    let mut clipped = String::new();
    for c in text.chars() {
        if display_width(&clipped) + display_width(c.encode_utf8(&mut [0; 4])) + 3 > columns {
            break;
        }
        clipped.push(c);
    }
    clipped + "..."
}

/// `text` clipped and filled with spaces to exactly `columns`.
pub(crate) fn cell(text: &str, columns: usize) -> String {
    let clipped = clip(text, columns);
    let fill = columns.saturating_sub(display_width(&clipped));
    clipped + &" ".repeat(fill)
}
