//! Whole numbers in the names of files, and what they count.

/// A name cut into texts and the whole numbers between them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct NumberedName {
    /// The texts before each number, and the text after the last.
    texts: Vec<String>,
    numbers: Vec<NameNumber>,
}

/// A number in a name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct NameNumber {
    digits: String,
    /// The mark before it that may be a minus sign.
    mark: Option<char>,
}

impl NumberedName {
    pub(super) fn of(name: &str) -> Self {
        let (mut texts, mut numbers, mut text) = (Vec::new(), Vec::new(), String::new());
        let mut letters = name.chars().peekable();
        while let Some(letter) = letters.next() {
            if !letter.is_ascii_digit() {
                text.push(letter);
                continue;
            }
            let mut digits = letter.to_string();
            while let Some(digit) = letters.next_if(char::is_ascii_digit) {
                digits.push(digit);
            }
            let mark = minus_mark(&text);
            if mark.is_some() {
                text.pop();
            }
            texts.push(std::mem::take(&mut text));
            numbers.push(NameNumber { digits, mark });
        }
        texts.push(text);
        Self { texts, numbers }
    }

    /// The name without its numbers: files of one series have the same.
    pub(super) fn skeleton(&self) -> String {
        self.texts.join("#")
    }
}

/// The last letter of a text if it may be the sign of a number: `-`, or `m` after a mark or after x or
/// y.
fn minus_mark(text: &str) -> Option<char> {
    let mut letters = text.chars().rev();
    match (letters.next()?, letters.next()) {
        ('-', _) => Some('-'),
        ('m', Some('_' | '-' | '.' | 'x' | 'y' | 'X' | 'Y')) => Some('m'),
        _ => None,
    }
}

/// What the numbers of a series of names count: columns of values.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct NumberColumn {
    /// The letters before the numbers, in lower case.
    pub(super) label: String,
    /// The digits as they are written, one for each name.
    pub(super) digits: Vec<String>,
    /// The numbers, one for each name.
    pub(super) values: Vec<i64>,
}

impl NumberColumn {
    pub(super) fn varies(&self) -> bool {
        self.values.windows(2).any(|pair| pair[0] != pair[1])
    }
}

/// The columns of names with one skeleton. A mark that all names have is no sign but separates.
pub(super) fn number_columns(names: &[NumberedName]) -> Vec<NumberColumn> {
    let Some(first) = names.first() else { return Vec::new() };
    (0..first.numbers.len())
        .map(|at| {
            let numbers: Vec<&NameNumber> = names.iter().map(|name| &name.numbers[at]).collect();
            let is_separator = numbers.iter().all(|number| number.mark.is_some());
            let text: String = first.texts[at].to_lowercase();
            let label: String = text.chars().rev().take_while(|c| c.is_alphabetic()).collect();
            let value = |number: &&NameNumber| {
                // A number of more digits than any die has is cut to the largest.
                let size = number.digits.parse::<i64>().unwrap_or(i64::MAX);
                if number.mark.is_some() && !is_separator { -size } else { size }
            };
            NumberColumn {
                label: label.chars().rev().collect(),
                digits: numbers.iter().map(|number| number.digits.clone()).collect(),
                values: numbers.iter().map(value).collect(),
            }
        })
        .collect()
}

/// The columns that hold lot, wafer and die numbers.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct DieColumns {
    pub(super) lot: Option<usize>,
    pub(super) wafer: Option<usize>,
    pub(super) die_x: Option<usize>,
    pub(super) die_y: Option<usize>,
}

/// Which columns hold what: by the letters before them, otherwise the first of those that vary is die x
/// and the second die y. `None` where more than two unnamed columns vary.
pub(super) fn die_columns(columns: &[NumberColumn]) -> Option<DieColumns> {
    let labelled =
        |labels: &[&str]| columns.iter().position(|column| labels.contains(&column.label.as_str()));
    let mut found = DieColumns {
        lot: labelled(&["lot", "l"]),
        wafer: labelled(&["w", "wafer", "waf", "wf", "slot"]),
        die_x: labelled(&["x", "diex", "col", "column", "c"]),
        die_y: labelled(&["y", "diey", "row", "r"]),
    };
    let taken = [found.lot, found.wafer, found.die_x, found.die_y];
    let mut others =
        (0..columns.len()).filter(|at| columns[*at].varies() && !taken.contains(&Some(*at)));
    if found.die_x.is_none() {
        found.die_x = others.next();
    }
    if found.die_y.is_none() {
        found.die_y = others.next();
    }
    others.next().is_none().then_some(found)
}

/// A die's two numbers in the name of a file, behind x and y or column and row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct NamedDie {
    /// Column and row with a mark before a number taken for a minus sign.
    pub(crate) signed: (i64, i64),
    /// Column and row without signs: a mark may only separate.
    pub(crate) sizes: (i64, i64),
}

impl NamedDie {
    /// The numbers in a name; `None` where it has none behind such letters.
    pub(crate) fn of(name: &str) -> Option<Self> {
        let name = NumberedName::of(name);
        let columns = number_columns(std::slice::from_ref(&name));
        let found = die_columns(&columns)?;
        let sizes = (columns[found.die_x?].values[0], columns[found.die_y?].values[0]);
        let sign = |column: Option<usize>, size: i64| {
            let is_marked = column.is_some_and(|at| name.numbers[at].mark.is_some());
            if is_marked { -size } else { size }
        };
        Some(Self { signed: (sign(found.die_x, sizes.0), sign(found.die_y, sizes.1)), sizes })
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn columns(names: &[&str]) -> (Vec<NumberColumn>, Option<DieColumns>) {
        let names: Vec<NumberedName> = names.iter().map(|name| NumberedName::of(name)).collect();
        assert!(names.iter().all(|name| name.skeleton() == names[0].skeleton()), "{names:?}");
        let columns = number_columns(&names);
        let found = die_columns(&columns);
        (columns, found)
    }

    #[test]
    fn numbers_of_one_name_are_found_behind_their_letters() {
        for (name, signed) in [
            ("w01_x-2_y4", Some((-2, 4))),
            ("R05_C12", Some((12, 5))),
            ("w2_xm3_y1", Some((-3, 1))),
            ("die_3_2", None),
        ] {
            assert_eq!(NamedDie::of(name).map(|own| own.signed), signed, "{name}");
        }
        assert_eq!(NamedDie::of("w01_x-2_y4").unwrap().sizes, (2, 4));
    }

    #[test]
    fn numbers_of_dies_are_found_in_usual_names() {
        for (names, x, y) in [
            (&["w01_x-3_y1.s", "w01_x2_y-1.s"][..], &[-3, 2][..], &[1, -1][..]),
            (&["W3_R05_C12", "W3_R06_C02"], &[12, 2], &[5, 6]),
            (&["die-3-2", "die-1-4"], &[3, 1], &[2, 4]),
            (&["c_m3_2", "c_1_2", "c_0_m1"], &[-3, 1, 0], &[2, 2, -1]),
            (&["part 7 3 of 9", "part 8 1 of 9"], &[7, 8], &[3, 1]),
        ] {
            let (columns, found) = columns(names);
            let found = found.unwrap();
            assert_eq!(columns[found.die_x.unwrap()].values, x, "{names:?}");
            assert_eq!(columns[found.die_y.unwrap()].values, y, "{names:?}");
        }
        let (columns_, found) = columns(&["w07_x1_y2", "w08_x1_y2"]);
        assert_eq!(columns_[found.unwrap().wafer.unwrap()].digits, ["07", "08"]);
        assert_eq!(columns(&["d1_2_3", "d2_3_4"]).1, None);
        assert_eq!(columns(&["d1", "d2"]).1.unwrap().die_y, None);
    }
}
