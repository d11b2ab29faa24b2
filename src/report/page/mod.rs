//! One page that opens anywhere: `report.html`, made of the other files of a report and its pictures.
//!
//! The page refers to nothing outside itself, and its content security policy allows nothing but its own
//! style and scripts, by their digests. Everything is in the page as text and vector graphics; the
//! scripts add values under a pointer, zoom, sorting and the choice of a die.
//!
//! | file | holds |
//! |---|---|
//! | `report_page` | the parts of a page, and the template that escapes them |
//! | `page_table` | tables, also from CSV |
//! | `page_picture`, `picture_captions` | pictures with their values, captions and descriptions |
//! | `page_value` | numbers and names as the page shows them, and what a document holds |
//! | `requirement_rows` | verdicts and requirements |
//! | `receiver_page`, `splitter_page`, `lot_page`, `station_page`, `comparison_page` | a subject each |
//! | `lot_findings` | which dies fail and why, what would raise the yield |
//! | `lot_data` | the dies for the scripts |

mod comparison_page;
mod lot_data;
mod lot_findings;
mod lot_page;
mod page_picture;
mod page_table;
mod page_value;
mod picture_captions;
mod receiver_page;
mod report_page;
mod requirement_rows;
mod splitter_page;
mod station_page;

pub(super) use comparison_page::comparison_page;
pub(super) use lot_page::lot_page;
pub(super) use page_picture::NamedPicture;
pub(super) use receiver_page::receiver_page;
pub(super) use report_page::PAGE;
pub(super) use splitter_page::splitter_page;
pub(super) use station_page::station_page;
