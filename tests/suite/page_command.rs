//! `report.html` as a file: what it holds, what it may do, how large it is.

use crate::harness::{Sandbox, number, project};
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
    assert!(page.contains("3 of 3 files done. 2 of 2 checks pass.") && page.contains("0.02"));
    let head = page.split("id=\"origin\"").next().unwrap();
    assert_eq!(head.matches("3 of 3 files done").count(), 1);
}

/// The names of the curves of each chart of a picture of a page.
fn curves(page: &str, picture: &str) -> Vec<Vec<String>> {
    let data = elements(page, "id=\"picture-data\">", "</script>")[0];
    let data: serde_json::Value = serde_json::from_str(data).unwrap();
    let pictures = data["pictures"].as_array().unwrap();
    let found = pictures.iter().find(|one| one["id"] == picture).unwrap();
    let names = |chart: &serde_json::Value| {
        let series = chart["series"].as_array().unwrap().iter();
        series.map(|one| one["name"].as_str().unwrap().to_owned()).collect()
    };
    found["charts"].as_array().unwrap().iter().map(names).collect()
}

/// A curve that needs no legend is read out too, by the name of its axis, and none has the name of a
/// curve of another chart.
#[test]
fn single_curves_are_named_by_their_axis() {
    let sandbox = Sandbox::with_demo();
    sandbox.succeeds("splitter coupler.s4p --out coupler");
    let page = sandbox.read("coupler/report.html");
    assert_eq!(curves(&page, "picture-imbalance"), [["Imbalance"], ["Phase error"]]);
    sandbox.succeeds("downconverter receiver-switches.toml --out switches");
    let page = sandbox.read("switches/report.html");
    assert_eq!(curves(&page, "picture-leakage"), [["LO at the RF port"]]);
    let drive = curves(&page, "picture-switching-drive");
    // The LO power of the receiver may be marked before them.
    assert!(drive[0].join(", ").ends_with("conversion loss, noise figure"), "{drive:?}");
    assert!(drive[1].join(", ").ends_with("image rejection"), "{drive:?}");
    assert!(!drive[1].iter().any(|name| name == "conversion loss"), "{drive:?}");
}

/// The cells of the rows of a table of a page, without markup.
fn table_rows(page: &str, id: &str) -> Vec<Vec<String>> {
    let start = format!("<table id=\"{id}\"");
    let table = page.split(&start).nth(1).unwrap_or_else(|| panic!("no table {id}"));
    let body = table.split("<tbody>").nth(1).unwrap().split("</tbody>").next().unwrap();
    let cells = |row: &str| {
        let inside =
            |cell: &str| cell.split_once('>').unwrap().1.split("</td>").next().unwrap().to_owned();
        row.split("<td").skip(1).map(inside).collect()
    };
    body.split("<tr>").skip(1).map(cells).collect()
}

#[test]
fn the_page_of_a_lot_says_what_fails_what_counts_and_what_would_help() {
    let sandbox = Sandbox::new();
    let recipe = project("data-demo/wafer/recipe.toml");
    let run = sandbox.run(&format!("wafer \"{}\" --out out", recipe.display()));
    assert_eq!(run.status, 1, "{}", run.stderr);
    let page = sandbox.read("out/report.html");
    let summary: serde_json::Value =
        serde_json::from_str(&sandbox.read("out/summary.json")).unwrap();
    // Every change with its yield by all limits and by the rejection alone.
    let changes = table_rows(&page, "what-if");
    for (row, answer) in changes.iter().zip(summary["what_if"].as_array().unwrap()) {
        for (column, judged) in [(1, "yield_by_all_limits"), (3, "yield_by_rejection_alone")] {
            let share = 100.0 * number(answer, &format!("/{judged}/share"));
            assert_eq!(row[column], format!("{share:.1}"), "{row:?}");
        }
    }
    assert_eq!(changes.len(), 4);
    assert!(page.contains("A correction acts behind the splitter"));
    // Why rows are not counted, and which of them fail.
    let dies = table_rows(&page, "table-dies");
    let counted = |words: &str| dies.iter().filter(|row| row[3] == words).count();
    assert_eq!(counted("yes"), 59);
    assert_eq!(counted("no: edge exclusion"), 4);
    assert_eq!(counted("no: superseded by another measurement"), 1);
    assert_eq!((counted("no: error"), counted("no: file missing")), (1, 1));
    let failing = dies.iter().filter(|row| row[1] == "fail" && row[3] != "yes").count();
    let named = table_rows(&page, "not-counted");
    assert_eq!(named.len(), failing);
    assert!(named.iter().any(|row| row[2] == "edge exclusion" && row[1].contains("rejection")));
    let retests = table_rows(&page, "retests");
    assert_eq!(retests.len(), 1);
    assert_eq!(retests[0][1..], ["fail, pass", "measurement 2"]);
    // Limits on magnitudes say so.
    assert_eq!(table_rows(&page, "requirements")[2][0], "|Phase error| &#60;= 2.5 deg");
    // The curve of the worst die is drawn and named.
    assert!(page.contains("worst die: K1 W01 (-1, 0)"));
    // Each title is there once, as the heading of its picture.
    for title in elements(&page, "-title\">", "</h3>") {
        assert_eq!(page.matches(&format!(">{title}</h3>")).count(), 1);
        assert_eq!(page.matches(&format!("\n{title}</text>")).count(), 0, "{title}");
    }
    for words in ["1 dies", "1 rows", "1 files", "1 wafers"] {
        assert!(!page.split("<script").next().unwrap().contains(&format!(" {words}")), "{words}");
    }
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
