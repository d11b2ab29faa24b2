//! UNCERTAINTY.toml to begin with.

use super::folder_parts::FolderParts;
use super::part_text::quoted;
use super::starter_files::Starter;

/// Amounts of a careful calibration on wafer at mm-wave, for the files of a folder or for every file.
pub(super) fn uncertainty_start(found: Option<&FolderParts>) -> Starter {
    let mut guesses = vec![
        "all amounts are examples: replace them by those of your analyser, calibration and probes"
            .to_owned(),
    ];
    let files = found.map(|found| {
        let parts = found.parts.iter().filter(|part| part.ports() > 1);
        let names: Vec<String> = parts.map(|part| quoted(&part.name)).collect();
        guesses.push("probe placement applies to every file of two ports or more".to_owned());
        guesses.extend(found.remarks.iter().cloned());
        format!("files = [{}]\n", names.join(", "))
    });
    let files = files.filter(|files| !files.contains("[]")).unwrap_or_default();
    let text = format!(
        "# How well S-parameters are known; all amounts are standard uncertainties.\n\
         # 'fourphase manual uncertainty' explains every key.\n\
         coverage_percent = 95\n\
         seed = 1\n\
         stability_db = 0.05              # trials go on until the result is stable to this\n\n\
         [decision]\n\
         conformity_percent = 95\n\n\
         [[source]]\n\
         name = \"trace noise\"\n\
         over_frequency = \"independent\"   # each point has its own error\n\
         transmission = {{ magnitude_db = 0.01, phase_deg = 0.1 }}\n\
         reflection = {{ magnitude = 0.002 }}\n\n\
         [[source]]\n\
         name = \"calibration\"             # one error over the sweep\n\
         transmission = {{ magnitude_db = 0.03, phase_deg = 0.3 }}\n\
         reflection = {{ magnitude = 0.008 }}\n\n\
         [[source]]\n\
         name = \"probe placement\"\n\
         {files}placement = {{ um = 5.0, effective_permittivity = 7.0 }}\n"
    );
    Starter::of("uncertainty.toml", text, guesses)
}
