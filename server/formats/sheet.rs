//! Tables as comma-separated values (RFC 4180) that open safely in a spreadsheet.

/// A cell that a spreadsheet would take for a formula is given an apostrophe in front, so that it is read as text.
/// These are the characters that the OWASP page "CSV Injection" lists: `=`, `+`, `-`, `@`, tab and carriage return;
/// their full-width forms, which some programs fold into them, are taken along.
pub fn safe(cell: &str) -> String {
    let risky = ['=', '+', '-', '@', '\t', '\r', '\n', '＝', '＋', '－', '＠'];
    if cell.starts_with(risky) { format!("'{cell}") } else { cell.to_string() }
}

/// Rows as one text. Cells keep their commas, quotes and line ends, quoted.
pub fn csv<const N: usize>(head: [&str; N], rows: &[[String; N]]) -> Result<Vec<u8>, csv::Error> {
    let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    writer.write_record(head)?;
    for row in rows {
        writer.write_record(row.iter().map(|cell| safe(cell)))?;
    }
    writer.into_inner().map_err(|error| csv::Error::from(error.into_error()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_cell_begins_a_formula() {
        let row = ["=1+1", "+49", "-2", "@SUM(A1)", "\tx", "plain, \"quoted\""].map(String::from);
        let text = String::from_utf8(csv(["a", "b", "c", "d", "e", "f"], &[row]).unwrap()).unwrap();
        let expected = "a,b,c,d,e,f\r\n'=1+1,'+49,'-2,'@SUM(A1),'\tx,\"plain, \"\"quoted\"\"\"\r\n";
        assert_eq!(text, expected);
    }
}
