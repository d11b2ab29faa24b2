//! The captions of pictures: what their curves, colours and marks are.

/// Names of pictures, or what they begin with, and what is under them before the result.
const CAPTIONS: [(&str, &str); 26] = [
    ("image-rejection-map", "Colour: image rejection at each LO and IF."),
    ("image-rejection", "Image rejection at every frequency of the plan or band."),
    (
        "imbalance",
        "Amplitude ratio and phase difference of the two channels against their ideal values.",
    ),
    (
        "phasors",
        "LO voltage at each mixer as a phasor; deviations from ideal are drawn five times as large.",
    ),
    (
        "contours",
        "Channel error in the plane of amplitude and phase; closed curves have constant image rejection.",
    ),
    ("drive", "LO power at each mixer against LO."),
    (
        "budget",
        "Contribution of each part to the I/Q channel error at the worst point, and the image rejection with this part ideal.",
    ),
    ("coverage", "Image rejection with its coverage interval."),
    (
        "measured",
        "Measured image rejection with its expanded uncertainty, and that from S-parameters, one chart for each IF.",
    ),
    (
        "switching-drive",
        "Conversion loss, noise figure and image rejection against the LO power at the mixers.",
    ),
    ("switching-map", "Colour: conversion loss and noise figure at each LO and IF."),
    (
        "switching",
        "Conversion loss of both channels together and single-sideband noise figure, one curve for each IF.",
    ),
    ("leakage", "LO power that leaves the RF port against LO."),
    ("conductances", "Conductance of each switched mixer over one LO period."),
    ("lo-levels", "LO power after each stage; shaded: minimum to maximum over all LOs."),
    ("lo-spectrum", "Tones at the mixers against the LO."),
    ("spurious-responses", "RF of each spurious response against LO; shaded: RF band."),
    (
        "input-window",
        "LO power at the mixers against the power of the source; shaded: powers with which all limits are met.",
    ),
    ("losses", "Insertion and excess loss, isolation and return losses against frequency."),
    (
        "overlay",
        "Entries of both networks with the largest vector difference: magnitude, phase and difference.",
    ),
    (
        "distribution",
        "Histogram and cumulative distribution of the worst rejection of each counted die.",
    ),
    (
        "yield",
        "Share of counted dies that meet a limit on the rejection, against this limit; shaded: 95 % confidence interval.",
    ),
    ("wafers", "Worst rejection of the counted dies of each wafer: median, 25 to 75 %, 5 to 95 %."),
    (
        "rejection-curves",
        "Rejection of each counted die against frequency, with median and 5 to 95 % band.",
    ),
    (
        "radial",
        "Imbalance and phase error of each die against its distance from the wafer's centre, with the fitted trend.",
    ),
    (
        "wafer-map-",
        "Worst rejection of each die, frequency of the worst rejection, and residual of the fitted trend.",
    ),
];

/// The caption of a picture; empty for a name that is not listed.
pub(super) fn caption(name: &str) -> &'static str {
    CAPTIONS.iter().find(|(own, _)| name.starts_with(own)).map_or("", |(_, caption)| caption)
}
