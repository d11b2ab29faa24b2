//! Pictures that commands write, as their SVG shows them.

use crate::harness::{Sandbox, unfolded};
use crate::svg_picture::SvgPicture;
use num_complex::Complex64;

/// The pictures of a report's folder with their names.
fn pictures(sandbox: &Sandbox, folder: &str) -> Vec<(String, SvgPicture)> {
    let names = sandbox.names(folder).into_iter().filter(|name| name.ends_with(".svg"));
    names
        .map(|name| {
            let svg = sandbox.read(&format!("{folder}/{name}"));
            (name, SvgPicture::read(&svg))
        })
        .collect()
}

/// A coupler whose entries jump from point to point by up to a tenth, the same on every run.
fn add_noisy_coupler(sandbox: &Sandbox) {
    let mut state = 1_u64;
    let mut noise = || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        let share = (state >> 40) as f64 / f64::from(1 << 24) - 0.5;
        // Few points are far off, as a loose cable has it.
        if (state >> 33).is_multiple_of(17) { 0.4 * share } else { 0.02 * share }
    };
    sandbox.write_changed("coupler.s4p", "noisy.s4p", |_, _, entry| {
        entry + Complex64::new(noise(), noise())
    });
}

#[test]
fn data_stay_within_their_frames() {
    let sandbox = Sandbox::with_demo();
    add_noisy_coupler(&sandbox);
    let limits = "--require-image-rejection-db 25 --require-phase-error-deg 2";
    let runs = [
        format!("splitter noisy.s4p --input 1 --outputs 2,3 {limits} --accept-active"),
        format!(
            "splitter coupler.s4p --band 28.9GHz..29.1GHz {limits} --uncertainty magnitude_db=0.05,phase_deg=0.5"
        ),
        "compare noisy.s4p coupler.s4p --require-vector 0.1".to_owned(),
        "downconverter receiver.toml --measured tones.csv --uncertainty uncertainty.toml"
            .to_owned(),
    ];
    for (at, run) in runs.iter().enumerate() {
        let folder = format!("out{at}");
        let run = sandbox.run(&format!("{run} --out {folder} --pictures svg"));
        assert!(run.status < 2, "{}", run.stderr);
        let drawn = pictures(&sandbox, &folder);
        assert!(!drawn.is_empty());
        for (name, picture) in &drawn {
            picture.assert_on_sheet(name);
            // These two have no axes with a frame.
            if !["budget.svg", "phasors.svg"].contains(&name.as_str()) {
                picture.assert_data_within_frames(name);
            }
        }
    }
}

#[test]
fn every_picture_says_what_it_is_of() {
    let sandbox = Sandbox::with_demo();
    sandbox.run("downconverter receiver.toml --out receiver --pictures svg");
    for (name, picture) in pictures(&sandbox, "receiver") {
        assert!(picture.has_text("Ka-band ground-station receiver, synthetic"), "{name}");
        assert!(picture.has_text("receiver.toml"), "{name}");
    }
    let text = sandbox.read("coupler.s4p");
    sandbox.write("dated.s4p", format!("! Date: 2025-03-04\n{text}"));
    sandbox.run("splitter dated.s4p --out part --plot overview.svg --pictures svg");
    for (name, picture) in pictures(&sandbox, "part").into_iter().chain(pictures(&sandbox, ".")) {
        assert!(picture.has_text("dated.s4p; dated 2025-03-04"), "{name}");
    }
    sandbox.run("compare balun.s3p divider.s3p --plot overlay.svg");
    let overlay = SvgPicture::read(&sandbox.read("overlay.svg"));
    assert!(overlay.has_text("first: balun.s3p; second: divider.s3p"));
}

#[test]
fn every_wafer_picture_says_what_it_is_of() {
    let sandbox = Sandbox::new();
    sandbox.succeeds("demo-wafer demo --dies 65 --points 11");
    let run = sandbox.run("wafer demo/recipe.toml --out out --pictures svg,png");
    assert!(run.status < 2, "{}", run.stderr);
    let drawn = pictures(&sandbox, "out");
    assert_eq!(drawn.len(), 6);
    for (name, picture) in &drawn {
        assert!(picture.has_text("Synthetic couplers, seed 1; recipe.toml"), "{name}");
        picture.assert_on_sheet(name);
        if !name.starts_with("wafer-map") {
            picture.assert_data_within_frames(name);
        }
    }
    let map = &drawn.iter().find(|(name, _)| name.starts_with("wafer-map")).unwrap().1;
    assert!(map.texts.iter().any(|text| text.contains("yield") && text.contains("dies pass")));
    for text in ["Die column x", "Die row y", "-4", "4", "fails", "R: image rejection"] {
        assert!(map.has_text(text), "{text}");
    }
}

#[test]
fn pictures_have_the_forms_asked_for() {
    let sandbox = Sandbox::with_demo();
    for (forms, has_svg, has_png) in
        [("", false, true), ("--pictures svg", true, false), ("--pictures svg,png", true, true)]
    {
        sandbox.run(&format!("splitter coupler.s4p --out out --overwrite {forms}"));
        let names = sandbox.names("out");
        let has = |ending: &str| names.iter().any(|name| name.ends_with(ending));
        assert_eq!((has(".svg"), has(".png")), (has_svg, has_png), "{names:?}");
    }
    let png = sandbox.bytes("out/imbalance.png");
    let decoder = png::Decoder::new(std::io::Cursor::new(png));
    assert_eq!(decoder.read_info().unwrap().info().size(), (1600, 1000));
    let error = sandbox.refused("splitter coupler.s4p --out other --pictures gif");
    assert!(unfolded(&error).contains("expected svg, png or svg,png; found 'gif'"), "{error}");
    sandbox.refused("splitter coupler.s4p --plot overview.gif");
}

/// Curves that lie on one another are drawn once, and the legend says so.
#[test]
fn coinciding_curves_are_drawn_once() {
    let sandbox = Sandbox::with_demo();
    sandbox.run("compare coupler.s4p coupler.s4p --plot same.svg");
    let same = SvgPicture::read(&sandbox.read("same.svg"));
    assert!(same.has_text("first and second (coincide)"));
}

#[test]
fn words_of_pictures_are_plain() {
    const BANNED: [&str; 15] = [
        "mended",
        "spoils",
        "nought",
        "told",
        "bowl",
        "touchdown",
        "trim",
        "rim",
        "element",
        "less",
        "way",
        "largest",
        "lowest",
        "misfit",
        "settles",
    ];
    let sandbox = Sandbox::with_demo();
    sandbox.succeeds("demo-wafer demo --dies 30 --points 5");
    sandbox.run("downconverter receiver.toml --measured tones.csv --out a --pictures svg");
    sandbox.run("splitter coupler.s4p --require-phase-error-deg 1 --out b --pictures svg");
    sandbox.run("compare balun.s3p divider.s3p --out c --pictures svg");
    sandbox.run("wafer demo/recipe.toml --out d --pictures svg");
    sandbox.run("tolerance --image-rejection-db 30 --plot e/tolerance.svg");
    for folder in ["a", "b", "c", "d", "e"] {
        let drawn = pictures(&sandbox, folder);
        assert!(!drawn.is_empty(), "{folder}");
        for (name, picture) in drawn {
            for text in &picture.texts {
                let words: Vec<String> = text
                    .split(|letter: char| !letter.is_alphabetic())
                    .map(str::to_lowercase)
                    .collect();
                let found = BANNED.iter().find(|banned| words.iter().any(|word| word == *banned));
                assert!(found.is_none(), "{name}: {found:?} in '{text}'");
            }
        }
    }
}
