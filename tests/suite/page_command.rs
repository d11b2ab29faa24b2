//! `report.html` as a file: what it holds, what it may do, how large it is.

use crate::harness::{Sandbox, number};
use base64::Engine as _;
use base64::prelude::BASE64_STANDARD;
use fourphase::plot;
use fourphase::splitter::tolerance;
use sha2::{Digest as _, Sha256};

/// The contents of elements that begin with a text.
fn elements<'p>(page: &'p str, begin: &str, end: &str) -> Vec<&'p str> {
    page.split(begin).skip(1).map(|part| part.split(end).next().unwrap()).collect()
}

#[test]
fn a_receiver_has_a_page_that_stands_alone() {
    let sandbox = Sandbox::with_demo();
    let inputs = "--uncertainty uncertainty.toml --measured tones.csv";
    let run = sandbox.run(&format!("downconverter receiver.toml {inputs} --out out"));
    assert_eq!(run.status, 1, "{}", run.stderr);
    let page = sandbox.read("out/report.html");
    assert!(page.len() < 1_000_000, "{} bytes", page.len());
    // Nothing outside it, nothing inline.
    let without = page.split("<script").next().unwrap();
    for mention in
        ["http://", "https://", "src=", "javascript:", "@import", " style=\"", " onclick="]
    {
        assert!(!without.contains(mention), "{mention}");
    }
    // Its policy allows its own style and scripts alone.
    let policy = elements(&page, "Content-Security-Policy\" content=\"", "\">")[0];
    let policy = policy.replace("&#39;", "'").replace("&#x27;", "'");
    assert!(policy.starts_with("default-src 'none'; style-src 'sha256-"), "{policy}");
    let mut own = elements(&page, "<style>", "</style>");
    own.extend(elements(&page, "<script>", "</script>"));
    assert_eq!(own.len(), 2);
    for text in own {
        let digest = BASE64_STANDARD.encode(Sha256::digest(text));
        assert!(policy.contains(&format!("'sha256-{digest}'")), "{policy}");
    }
    // All of it is there without scripts.
    let names = sandbox.names("out");
    let pictures = names.iter().filter(|name| name.ends_with(".png")).count();
    assert_eq!(elements(&page, "<svg ", "</svg>").len(), pictures);
    for words in
        ["UNDECIDED", "25.323", "39.6 %", "hybrid", "LO 31 GHz, IF 1.5 GHz", "--measured tones.csv"]
    {
        assert!(without.contains(words), "{words}");
    }
    let document: serde_json::Value =
        serde_json::from_str(&sandbox.read("out/report.json")).unwrap();
    for input in document["inputs"].as_array().unwrap() {
        assert!(without.contains(input["sha256"].as_str().unwrap()), "{input}");
    }
    assert!(number(&document, "/verdict/requirements/0/worst") > 25.0);
}

#[test]
fn a_page_depends_on_inputs_alone() {
    let sandbox = Sandbox::with_demo();
    sandbox.run("downconverter receiver.toml --out one --threads 1");
    sandbox.run("downconverter receiver.toml --out two --threads 2 --pictures svg");
    assert_eq!(sandbox.read("one/report.html"), sandbox.read("two/report.html"));
}

#[test]
fn every_report_has_a_page() {
    let sandbox = Sandbox::with_demo();
    sandbox.succeeds("splitter coupler.s4p --out coupler");
    sandbox.succeeds("compare balun.s3p balun_q.s3p --out compared");
    let page = sandbox.read("coupler/report.html");
    assert!(page.contains("NO REQUIREMENT") && page.contains("28.166"), "{}", &page[..2000]);
    assert!(sandbox.read("compared/report.html").contains("balun_q.s3p minus balun.s3p"));
    let station = Sandbox::new();
    station.add("data-demo/station");
    station.succeeds("station station.toml --out out");
    let page = station.read("out/report.html");
    assert!(page.contains("3 of 3 files done") && page.contains("0.02"));
}

/// What a page shows under a pointer is noted while a picture is drawn: the groups of the drawing and the
/// notes must belong to each other.
#[test]
fn pictures_carry_the_values_of_their_curves() {
    let picture = plot::tolerance(&tolerance(30.0, Some(0.2), None)).unwrap();
    let svg = picture.svg();
    assert_eq!(svg.matches("<g ").count(), svg.matches("</g>").count());
    assert!(!svg.contains("-268435456"), "a mark is left");
    assert!(!picture.charts().is_empty());
    for (number, chart) in picture.charts().iter().enumerate() {
        let axes = svg.split(&format!("<g data-axes=\"{number}\">")).nth(1).unwrap();
        // The frame is drawn where it is noted.
        let [left, top, right, bottom] = chart.frame;
        let frame = format!(
            "points=\"{left},{top} {right},{top} {right},{bottom} {left},{bottom} {left},{top} \""
        );
        assert!(axes.split("</g>").next().unwrap().contains(&frame), "{frame}");
        let data = svg.split(&format!("<g data-chart=\"{number}\">")).nth(1).unwrap();
        assert_eq!(
            data.split("<g data-chart").next().unwrap().matches("<g data-series=").count(),
            chart.series.len()
        );
        for series in &chart.series {
            assert!(!series.name.is_empty() && series.points.len() > 1, "{series:?}");
            assert!(series.points.iter().any(|(x, _)| chart.x.contains(x)), "{series:?}");
        }
    }
}
