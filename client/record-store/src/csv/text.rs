//! Fields and lines: quotes, commas, and lines that go on over an end of line.

use crate::error::NotImported;

/// One line of fields.
pub fn line(fields: &[&str]) -> String {
    let quoted: Vec<String> = fields
        .iter()
        .map(|field| {
            if field.contains(['"', ',', '\n', '\r']) {
                format!("\"{}\"", field.replace('"', "\"\""))
            } else {
                (*field).to_owned()
            }
        })
        .collect();
    quoted.join(",")
}

/// The lines of a text that are not empty, each with its number from 1 and its fields.
pub(super) type Rows = Vec<(usize, Vec<String>)>;

/// What stands between the fields of `text`: a semicolon where its first line, which names the columns, has one and no
/// comma. Spreadsheets write it where the comma stands in numbers.
pub(super) fn separator(text: &str) -> char {
    let first = text
        .trim_start_matches(['\u{feff}', '\r', '\n'])
        .lines()
        .next()
        .unwrap_or("");
    if first.contains(';') && !first.contains(',') {
        ';'
    } else {
        ','
    }
}

/// The rows of `text`, whose fields are parted by `separator`.
pub(super) fn rows(text: &str, separator: char) -> Result<Rows, NotImported> {
    let mut rows = Vec::new();
    let (mut number, mut begun) = (1, 1);
    let (mut fields, mut field) = (Vec::new(), String::new());
    let (mut quoted, mut any) = (false, false);
    let mut chars = text.trim_start_matches('\u{feff}').chars().peekable();
    while let Some(c) = chars.next() {
        if c == '\n' {
            number += 1;
        }
        match c {
            '"' if quoted && chars.peek() == Some(&'"') => {
                chars.next();
                field.push('"');
            }
            '"' => {
                quoted = !quoted;
                any = true;
            }
            c if c == separator && !quoted => {
                fields.push(std::mem::take(&mut field));
                any = true;
            }
            '\n' if !quoted => {
                if any || !field.is_empty() {
                    fields.push(std::mem::take(&mut field));
                    rows.push((begun, std::mem::take(&mut fields)));
                }
                begun = number;
                any = false;
            }
            '\r' if !quoted => {}
            other => field.push(other),
        }
    }
    if quoted {
        return Err(NotImported::Quote {
            line: begun,
            column: fields.len() + 1,
        });
    }
    if any || !field.is_empty() {
        fields.push(field);
        rows.push((begun, fields));
    }
    Ok(rows)
}
