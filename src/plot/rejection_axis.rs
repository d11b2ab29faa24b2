//! Rejections as pictures show them.

/// Rejections beyond this are drawn at the edge: the eye learns nothing from them.
pub(super) const HIGHEST_REJECTION_DB: f64 = 80.0;

/// Below this the wanted sideband is as good as absent.
pub(super) const LOWEST_REJECTION_DB: f64 = -HIGHEST_REJECTION_DB;

/// What an axis says where rejections are drawn at the edge.
pub(super) const CUT_NOTE: &str = ", cut at ±80";

/// A rejection as drawn.
pub(super) fn cut(rejection_db: f64) -> f64 {
    rejection_db.clamp(LOWEST_REJECTION_DB, HIGHEST_REJECTION_DB)
}

/// Whether a rejection is drawn at the edge.
pub(super) fn is_beyond(rejection_db: f64) -> bool {
    !(LOWEST_REJECTION_DB..=HIGHEST_REJECTION_DB).contains(&rejection_db)
}

/// The name of a required rejection in a legend.
pub(super) fn required_name(required_db: Option<f64>) -> Option<String> {
    required_db.map(|required_db| format!("required {required_db} dB"))
}
