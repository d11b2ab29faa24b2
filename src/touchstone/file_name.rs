//! The number of ports in a file name.

use std::path::Path;

/// The number N in a name that ends in `.sNp`, in upper or lower case.
///
/// ```
/// use fourphase::touchstone::ports_in_name;
/// assert_eq!(ports_in_name("HYBRID.S4P".as_ref()), Some(4));
/// assert_eq!(ports_in_name("hybrid.ts".as_ref()), None);
/// ```
#[must_use]
pub fn ports_in_name(name: &Path) -> Option<usize> {
    let extension = name.extension()?.to_str()?.to_ascii_lowercase();
    let digits = extension.strip_prefix('s')?.strip_suffix('p')?;
    if digits.bytes().all(|byte| byte.is_ascii_digit()) { digits.parse().ok() } else { None }
}
