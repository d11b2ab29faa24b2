//! Lines and areas cut at the frame of a chart.

use std::ops::Range;

/// The ranges of a chart.
type Frame<'r> = (&'r Range<f64>, &'r Range<f64>);

/// The parts of a line within a frame, of a line whose points are finite. A line of a single
/// point stays one if it is within.
///
/// Y.-D. Liang, B. A. Barsky, "A new concept and method for line clipping" (1984).
pub(super) fn clipped_line(points: &[(f64, f64)], frame: Frame<'_>) -> Vec<Vec<(f64, f64)>> {
    if let [alone] = points {
        let is_inside = within(alone.0, frame.0) && within(alone.1, frame.1);
        return if is_inside { vec![vec![*alone]] } else { Vec::new() };
    }
    let mut runs: Vec<Vec<(f64, f64)>> = Vec::new();
    let mut goes_on = false;
    for pair in points.windows(2) {
        let Some((from, to)) = inside_part(pair[0], pair[1], frame) else {
            goes_on = false;
            continue;
        };
        let place = |share: f64| {
            let at = |from: f64, to: f64, range: &Range<f64>| {
                (from + share * (to - from)).clamp(range.start, range.end)
            };
            (at(pair[0].0, pair[1].0, frame.0), at(pair[0].1, pair[1].1, frame.1))
        };
        match runs.last_mut().filter(|_| goes_on && from <= 0.0) {
            Some(run) => run.push(place(to)),
            None => runs.push(vec![place(from), place(to)]),
        }
        goes_on = to >= 1.0;
    }
    runs
}

fn within(value: f64, range: &Range<f64>) -> bool {
    (range.start..=range.end).contains(&value)
}

/// Where a stretch enters the frame and where it leaves, as shares of its length.
fn inside_part(from: (f64, f64), to: (f64, f64), frame: Frame<'_>) -> Option<(f64, f64)> {
    let (mut enters, mut leaves) = (0.0_f64, 1.0_f64);
    for (start, end, range) in [(from.0, to.0, frame.0), (from.1, to.1, frame.1)] {
        let length = end - start;
        for (step, room) in [(-length, start - range.start), (length, range.end - start)] {
            if step > 0.0 {
                leaves = leaves.min(room / step);
            } else if step < 0.0 {
                enters = enters.max(room / step);
            } else if room < 0.0 {
                return None;
            }
        }
    }
    (enters <= leaves).then_some((enters, leaves))
}

/// The part of an area within a frame; empty if there is none. Its corners are finite.
///
/// I. E. Sutherland, G. W. Hodgman, "Reentrant polygon clipping" (1974).
pub(super) fn clipped_area(corners: &[(f64, f64)], frame: Frame<'_>) -> Vec<(f64, f64)> {
    let mut kept = corners.to_vec();
    let edges: [(bool, f64, f64); 4] = [
        (true, 1.0, frame.0.start),
        (true, -1.0, frame.0.end),
        (false, 1.0, frame.1.start),
        (false, -1.0, frame.1.end),
    ];
    for (is_upright, sign, edge) in edges {
        let beyond = |at: (f64, f64)| sign * (if is_upright { at.0 } else { at.1 } - edge);
        let mut cut = Vec::with_capacity(kept.len() + 4);
        for (at, &to) in kept.iter().enumerate() {
            let from = kept[at.checked_sub(1).unwrap_or(kept.len() - 1)];
            let (before, after) = (beyond(from), beyond(to));
            if (before < 0.0) != (after < 0.0) {
                let share = before / (before - after);
                let mut crossing =
                    (from.0 + share * (to.0 - from.0), from.1 + share * (to.1 - from.1));
                *(if is_upright { &mut crossing.0 } else { &mut crossing.1 }) = edge;
                cut.push(crossing);
            }
            if after >= 0.0 {
                cut.push(to);
            }
        }
        kept = cut;
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    const FRAME: (Range<f64>, Range<f64>) = (0.0..10.0, 0.0..1.0);

    #[test]
    fn a_line_that_leaves_comes_back_as_two() {
        let points = [(0.0, 0.5), (4.0, 2.5), (8.0, 0.5), (12.0, 0.5)];
        let runs = clipped_line(&points, (&FRAME.0, &FRAME.1));
        assert_eq!(runs, [vec![(0.0, 0.5), (1.0, 1.0)], vec![(7.0, 1.0), (8.0, 0.5), (10.0, 0.5)]]);
    }

    #[test]
    fn what_lies_outside_is_not_drawn() {
        assert!(clipped_line(&[(0.0, 2.0), (9.0, 3.0)], (&FRAME.0, &FRAME.1)).is_empty());
        assert!(clipped_line(&[(3.0, 1.1)], (&FRAME.0, &FRAME.1)).is_empty());
        assert_eq!(clipped_line(&[(3.0, 1.0)], (&FRAME.0, &FRAME.1)).len(), 1);
        assert!(
            clipped_area(&[(1.0, 2.0), (2.0, 3.0), (3.0, 2.0)], (&FRAME.0, &FRAME.1)).is_empty()
        );
    }

    #[test]
    fn an_area_is_cut_at_the_edges() {
        let area = clipped_area(&[(-5.0, 0.0), (5.0, -1.0), (5.0, 3.0)], (&FRAME.0, &FRAME.1));
        assert!(area.iter().all(|at| within(at.0, &FRAME.0) && within(at.1, &FRAME.1)));
        assert!(area.contains(&(5.0, 0.0)) && area.contains(&(5.0, 1.0)));
    }
}
