//! `report.html` in a real browser: that it opens without a complaint, says what the other files say, and
//! answers to pointer and keyboard.

use crate::browser::Browser;
use crate::harness::{Sandbox, number, replaced};
use serde_json::{Value, json};

const ACCESS: &str = include_str!("page_access.js");

/// The demos, each in a folder with its report in `out`.
fn demos() -> Vec<(&'static str, Sandbox)> {
    let of = |name, folder: &str, command: &str| {
        let sandbox = Sandbox::new();
        sandbox.add(folder);
        let run = sandbox.run(&format!("{command} --out out"));
        assert!(run.status < 2, "{command}: {}", run.stderr);
        (name, sandbox)
    };
    vec![
        of(
            "receiver",
            "data-demo",
            "downconverter receiver.toml --uncertainty uncertainty.toml --measured tones.csv",
        ),
        of("chain", "data-demo", "downconverter lo-chain.toml"),
        of("switches", "data-demo", "downconverter receiver-switches.toml"),
        of(
            "coupler",
            "data-demo",
            "splitter coupler.s4p --kind quadrature --require-image-rejection-db 25",
        ),
        of("comparison", "data-demo", "compare balun.s3p balun_q.s3p --require-vector 0.02"),
        of("station", "data-demo/station", "station station.toml"),
        ("wafer", demo_wafer()),
    ]
}

/// The demo wafer with its report in `out`.
fn demo_wafer() -> Sandbox {
    let sandbox = Sandbox::new();
    sandbox.add("data-demo/wafer");
    std::fs::create_dir(sandbox.path("dies")).unwrap();
    for entry in std::fs::read_dir(crate::harness::project("data-demo/wafer/dies")).unwrap() {
        let path = entry.unwrap().path();
        std::fs::copy(&path, sandbox.path("dies").join(path.file_name().unwrap())).unwrap();
    }
    let run = sandbox.run("wafer recipe.toml --out out");
    assert_eq!(run.status, 1, "{}", run.stderr);
    sandbox
}

fn document(sandbox: &Sandbox, name: &str) -> Value {
    serde_json::from_str(&sandbox.read(&format!("out/{name}"))).unwrap()
}

/// No complaint, nothing beyond the window, and nothing that an assistive technology would miss.
fn assert_sound(browser: &mut Browser, name: &str) {
    assert_eq!(browser.complaints(), Vec::<String>::new(), "{name}");
    let access = browser.value(ACCESS);
    assert_eq!(access["found"], json!([]), "{name}");
    assert!(access["least"].as_f64().unwrap() >= 3.0, "{name}");
}

#[test]
fn pages_of_all_demos_open_without_a_complaint() {
    let Some(mut browser) = Browser::start() else { return };
    for (name, sandbox) in demos() {
        let page = sandbox.path("out/report.html");
        for width in [375, 1024, 1600] {
            browser.resize(width, 900);
            browser.open(&page, "");
            let overflow = browser.number("document.documentElement.scrollWidth - innerWidth");
            assert!(overflow <= 0.0, "{name} at {width}: {overflow} pixels beyond the window");
            browser.keep_screenshot(&format!("{name}-{width}.png"));
        }
        assert_sound(&mut browser, name);
        let pictures = browser.number("document.querySelectorAll('#pictures figure').length");
        assert!(pictures > 0.0 || name == "station", "{name}");
        let paper = browser.printed();
        assert!(paper.starts_with(b"%PDF") && paper.len() > 20_000, "{name}");
        if let Some(folder) = std::env::var_os("FOURPHASE_SCREENSHOTS") {
            let place = std::path::Path::new(&folder).join(format!("{name}.pdf"));
            std::fs::write(place, paper).unwrap();
        }
    }
}

#[test]
fn verdict_and_figures_are_those_of_the_document() {
    let Some(mut browser) = Browser::start() else { return };
    for (name, sandbox) in demos() {
        let file = match name {
            "wafer" => "summary.json",
            "station" => "station.json",
            _ => "report.json",
        };
        let document = document(&sandbox, file);
        browser.open(&sandbox.path("out/report.html"), "");
        let word = browser.text("document.getElementById('verdict').textContent");
        let pass = document.pointer("/verdict/pass").or(document.get("pass")).unwrap();
        assert_eq!(word == "PASS", pass == &json!(true), "{name}: {word}");
        let requirements = document.pointer("/verdict/requirements").and_then(Value::as_array);
        for (row, held) in requirements.into_iter().flatten().enumerate() {
            let cell = |column: usize| {
                format!(
                    "document.querySelector('#requirements tbody').rows[{row}].cells[{column}].textContent"
                )
            };
            let decision = browser.text(&cell(1)).to_lowercase();
            let expected = held.get("decision").and_then(Value::as_str);
            let expected =
                expected.unwrap_or(if held["pass"] == json!(true) { "pass" } else { "fail" });
            assert_eq!(decision, expected, "{name}");
            for (column, key) in [(2, "worst"), (4, "margin")] {
                let text = browser.text(&cell(column));
                let shown: f64 = text.split(' ').next().unwrap().parse().unwrap();
                // Three decimals are shown.
                assert!(
                    (shown - held[key].as_f64().unwrap()).abs() <= 5.1e-4,
                    "{name}: {text} {held}"
                );
            }
        }
    }
}

/// The place in the window of a value on the horizontal axis of a picture's first chart.
fn place_of(browser: &mut Browser, picture: &str, x: f64) -> (f64, f64) {
    let place = browser.value(&format!(
        "(() => {{
            const figure = document.getElementById('{picture}');
            figure.scrollIntoView({{ block: 'center' }});
            const {{ charts }} = page.data('picture-data').pictures.find((one) => one.id === '{picture}');
            const {{ frame, x: [low, high] }} = charts[0];
            const at = new DOMPoint(frame[0] + ({x} - low) / (high - low) * (frame[2] - frame[0]), (frame[1] + frame[3]) / 2);
            const shown = at.matrixTransform(figure.querySelector('svg').getScreenCTM());
            return [shown.x, shown.y];
        }})()"
    ));
    (place[0].as_f64().unwrap(), place[1].as_f64().unwrap())
}

/// The value behind a name in what stands below a picture.
fn read_out(browser: &mut Browser, picture: &str, name: &str) -> f64 {
    let text = browser.text(&format!("document.querySelector('#{picture} .readout').textContent"));
    let after =
        text.split(&format!("{name}: ")).nth(1).unwrap_or_else(|| panic!("no {name}: {text}"));
    let value = after.split([';', ' ']).next().unwrap();
    // Lines follow one another without a blank.
    let end = value.find(|letter: char| !"-.0123456789e".contains(letter)).unwrap_or(value.len());
    value[..end].parse().unwrap_or_else(|_| panic!("{value}: {text}"))
}

#[test]
fn a_pointer_shows_the_values_of_the_data_in_all_pictures() {
    let Some(mut browser) = Browser::start() else { return };
    let sandbox = Sandbox::with_demo();
    sandbox.run("downconverter receiver.toml --out out");
    let document = document(&sandbox, "report.json");
    browser.resize(1400, 1000);
    browser.open(&sandbox.path("out/report.html"), "");
    for at in [0, 7, 20, 40] {
        let points = document["points"].as_array().unwrap();
        let lo_hz = document["lo"][at]["lo_hz"].as_f64().unwrap();
        let place = place_of(&mut browser, "picture-image-rejection", lo_hz / 1e9);
        browser.pointer("mouseMoved", place);
        let awaited = format!("at {} GHz", lo_hz / 1e9);
        browser.wait_for(&format!(
            "document.querySelector('#picture-image-rejection .readout').textContent.includes('{awaited}')"
        ));
        let here: Vec<&Value> =
            points.iter().filter(|point| point["lo_hz"] == json!(lo_hz)).collect();
        for point in &here {
            let if_hz = point["if_hz"].as_f64().unwrap();
            let name = format!("IF {}", fourphase::units::ShownFrequency(if_hz));
            let shown = read_out(&mut browser, "picture-image-rejection", &name);
            let value = number(point, "/image_rejection_db");
            // Six digits are shown.
            assert!((shown - value).abs() <= 5.1e-6 * value.abs(), "{name}: {shown} {value}");
        }
        // Curves that coincide are drawn once, with the values of the first.
        let name = "IF 500 MHz .. IF 1.5 GHz (3 coincide)";
        let shown = read_out(&mut browser, "picture-imbalance", name);
        let value = number(here[0], "/amplitude_imbalance_db");
        assert!((shown - value).abs() <= 5.1e-6 * value.abs(), "{shown} {value}");
        let power = read_out(&mut browser, "picture-drive", "i_plus");
        let expected = number(&document, &format!("/lo/{at}/mixers/0/lo_power_dbm"));
        assert!((power - expected).abs() < 5.1e-6 * expected.abs(), "{power} {expected}");
    }
}

#[test]
fn keys_step_zoom_and_go_back_and_the_address_keeps_it() {
    let Some(mut browser) = Browser::start() else { return };
    let sandbox = Sandbox::with_demo();
    sandbox.run("downconverter receiver.toml --out out");
    let page = sandbox.path("out/report.html");
    browser.open(&page, "");
    // Every control is reached by Tab, in the order of the page.
    let mut reached = Vec::new();
    for _ in 0..400 {
        browser.press("Tab");
        let focus = browser.text(
            "document.activeElement.closest('figure')?.id ?? document.activeElement.localName",
        );
        if reached.last() != Some(&focus) {
            reached.push(focus);
        }
        if reached.last().is_some_and(|last| last == "body") {
            break;
        }
    }
    for picture in ["picture-image-rejection", "picture-imbalance", "picture-drive"] {
        assert!(reached.iter().any(|own| own == picture), "{reached:?}");
    }
    let plot = "document.querySelector('#picture-image-rejection .plot')";
    browser.value(&format!("{plot}.focus()"));
    browser.press("Home");
    browser.press("ArrowRight");
    let readout = "document.querySelector('#picture-imbalance .readout').textContent";
    browser.wait_for(&format!("{readout}.includes('at 27.1 GHz')"));
    let ticks = "[...document.querySelectorAll('#picture-drive .redrawn text')].map((one) => one.textContent)";
    browser.press("+");
    browser.wait_for(&format!("{ticks}.length > 0"));
    assert_eq!(
        browser
            .value("document.querySelector('#picture-drive [data-axes]').getClientRects().length"),
        json!(0)
    );
    browser.wait_for("location.hash.includes('at=27.1') && location.hash.includes('zoom=')");
    let fragment = browser.text("location.hash");
    let shown = browser.value(ticks);
    assert_sound(&mut browser, "zoomed");
    browser.keep_screenshot("receiver-zoomed.png");
    browser.press("0");
    browser.wait_for(&format!("{ticks}.length === 0"));
    // Back, and a link, lead to the same view.
    browser.value("history.back()");
    browser.wait_for(&format!("{ticks}.length > 0"));
    browser.open(&page, &fragment);
    assert_eq!(browser.value(ticks), shown);
    browser.wait_for(&format!("{readout}.includes('at 27.1 GHz')"));
    // A curve that is off is neither drawn nor read out.
    let box_of = "document.querySelector('#picture-imbalance .controls input')";
    browser.value(&format!("{box_of}.focus()"));
    browser.press(" ");
    browser.wait_for(&format!("!{readout}.includes('(3 coincide)')"));
    assert_eq!(browser.complaints(), Vec::<String>::new());
}

#[test]
fn tables_sort_and_filter() {
    let Some(mut browser) = Browser::start() else { return };
    let sandbox = Sandbox::with_demo();
    sandbox.run("downconverter receiver.toml --out out");
    browser.open(&sandbox.path("out/report.html"), "");
    browser.value("document.querySelector('#table-points').closest('details').open = true");
    let header = "document.querySelector('#table-points').tHead.rows[0].cells[2]";
    browser.click(&format!("{header}.querySelector('button')"));
    let column = "[...document.querySelector('#table-points').tBodies[0].rows].map((row) => Number(row.cells[2].textContent))";
    browser.wait_for(&format!("{header}.getAttribute('aria-sort') === 'ascending'"));
    let values: Vec<f64> = serde_json::from_value(browser.value(column)).unwrap();
    assert!(values.len() == 123 && values.is_sorted(), "{values:?}");
    browser.click(&format!("{header}.querySelector('button')"));
    browser.wait_for(&format!("{header}.getAttribute('aria-sort') === 'descending'"));
    let values: Vec<f64> = serde_json::from_value(browser.value(column)).unwrap();
    assert!(values.is_sorted_by(|one, other| one >= other), "{values:?}");
    let field = "document.querySelector('#table-points').closest('details').querySelector('input[type=search]')";
    browser.value(&format!("(() => {{ const one = {field}; one.value = '27.3'; one.dispatchEvent(new Event('input')); }})()"));
    let shown = "[...document.querySelector('#table-points').tBodies[0].rows].filter((row) => !row.hidden).length";
    assert!(browser.number(shown) >= 3.0 && browser.number(shown) < 123.0);
}

#[test]
fn a_die_shows_its_curves_its_requirements_and_its_place() {
    let Some(mut browser) = Browser::start() else { return };
    let sandbox = demo_wafer();
    let page = sandbox.path("out/report.html");
    browser.resize(1400, 1000);
    browser.open(&page, "");
    let worst = "[...document.querySelectorAll('#lot button')].find((one) => one.textContent === 'Worst of these')";
    browser.click(worst);
    browser.wait_for("!document.querySelector('#lot .die').hidden");
    let heading = browser.text("document.getElementById('die-heading').textContent");
    let fragment = browser.text("location.hash");
    // The worst row of the table of dies, among all.
    let table = sandbox.read("out/dies.csv");
    let mut reader = csv::Reader::from_reader(table.as_bytes());
    let records: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    let rejection = |record: &csv::StringRecord| record[5].parse::<f64>().unwrap_or(f64::INFINITY);
    let least =
        records.iter().min_by(|one, other| rejection(one).total_cmp(&rejection(other))).unwrap();
    let name = format!("Die {} {} ({}, {})", &least[0], &least[1], &least[2], &least[3]);
    assert!(heading.starts_with(&name), "{heading} {name}");
    let row = "document.querySelector('#lot .die tbody').rows[0]";
    let cells = browser.value(&format!("[...{row}.cells].map((one) => one.textContent)"));
    let shown: f64 = cells[2].as_str().unwrap().split(' ').next().unwrap().parse().unwrap();
    assert!((shown - rejection(least)).abs() < 1e-4 && cells[4] == "FAIL", "{cells}");
    assert!(browser.text("document.querySelector('#lot .die').textContent").contains(&least[24]));
    // Its curve goes down to that value, in the drawing and in what is read out.
    browser.value("document.querySelector('#die-curves .plot').focus()");
    browser.press("Home");
    let curve = format!("die {}, {}", &least[2], &least[3]);
    browser.wait_for("!document.querySelector('#die-curves .readout').hidden");
    let mut lowest = f64::INFINITY;
    for _ in 0..60 {
        std::thread::sleep(std::time::Duration::from_millis(30));
        lowest = lowest.min(read_out(&mut browser, "die-curves", &curve));
        browser.press("ArrowRight");
    }
    assert!((lowest - rejection(least)).abs() < 1e-3, "{lowest}");
    assert_sound(&mut browser, "a die");
    browser.keep_screenshot("wafer-die.png");
    // The address leads to the same view.
    browser.open(&page, &fragment);
    assert_eq!(browser.text("document.getElementById('die-heading').textContent"), heading);
    assert_eq!(browser.complaints(), Vec::<String>::new());
}

/// A name of a failing die, and the worst curve, are links to the die; the address is the view.
#[test]
fn names_of_dies_are_links_to_their_detail() {
    let Some(mut browser) = Browser::start() else { return };
    let sandbox = demo_wafer();
    let page = sandbox.path("out/report.html");
    browser.resize(1400, 1000);
    let heading = "(document.getElementById('die-heading')?.textContent ?? '')";
    for place in ["#failing tbody tr:nth-child(2)", "#not-counted", "#requirements", "p[data-die]"]
    {
        browser.open(&page, "");
        let link = format!("document.querySelector('{place} a, {place}[data-die] a')");
        let name = browser.text(&format!("{link}.closest('[data-die]').dataset.die"));
        let address = browser.text(&format!("{link}.getAttribute('href')"));
        browser.value(&format!("{link}.scrollIntoView({{ block: 'center' }})"));
        browser.click(&link);
        browser.wait_for(&format!("{heading} !== ''"));
        let parts: Vec<&str> = name.split('/').collect();
        let shown = browser.text(heading);
        let expected = format!("Die {} {} ({}, {})", parts[0], parts[1], parts[2], parts[3]);
        assert!(shown.starts_with(&expected), "{place}: {shown} {name}");
        assert_eq!(browser.text("location.hash"), address);
        assert!(
            browser.number("document.querySelector('#lot .die').getBoundingClientRect().top")
                < 1000.0
        );
        browser.open(&page, &address);
        assert_eq!(browser.text(heading), shown);
    }
    assert_eq!(browser.complaints(), Vec::<String>::new());
}

/// The map marks what the map of the pictures marks, with axes.
#[test]
fn a_map_has_one_mark_for_one_meaning() {
    let Some(mut browser) = Browser::start() else { return };
    let sandbox = demo_wafer();
    browser.resize(1400, 1000);
    browser.open(&sandbox.path("out/report.html"), "");
    let mut count = |what: &str| {
        browser.value(&format!("document.querySelectorAll('#lot .map {what}').length"))
    };
    assert_eq!(count("path.crossed"), 2);
    assert_eq!(count("rect.gone"), 2);
    assert_eq!(count("[fill=\"url(#hatch-light)\"], #lot .map [fill=\"url(#hatch-dark)\"]"), 8);
    assert_eq!(count("[fill=\"url(#hatch-wide)\"]"), 2);
    assert_eq!(count("rect.outlier"), 1);
    // Nine columns and rows of dies, and the names of both axes.
    assert_eq!(count(".axis text"), 20);
    let codes = browser.value("[...document.querySelectorAll('#lot .map .code')].map((one) => one.textContent).sort().join(' ')");
    assert_eq!(codes, json!("P P PR PR PR R R R R R"));
    let legend = browser.text("document.querySelector('#lot .scale').textContent");
    for words in ["fails", "R: image rejection", "P: |phase error|", "not measured", "outlier"] {
        assert!(legend.contains(words), "{words}: {legend}");
    }
    assert!(browser.number("document.querySelector('#lot .map svg').clientWidth") >= 700.0);
}

/// A table that is wider than the window says so; one that fits does not.
#[test]
fn what_is_cut_at_the_side_says_so() {
    let Some(mut browser) = Browser::start() else { return };
    let sandbox = demo_wafer();
    let page = sandbox.path("out/report.html");
    let state = "(() => {
        const all = [...document.querySelectorAll('.scroll, .plot')].filter((one) => one.checkVisibility());
        const cut = all.filter((one) => one.scrollWidth > one.clientWidth + 1);
        const told = all.filter((one) => !one.cue.hidden);
        return [cut.length, told.length, cut.every((one) => told.includes(one))];
    })()";
    for (width, expected) in [(375, true), (1600, false)] {
        browser.resize(width, 900);
        browser.open(&page, "");
        browser
            .value("document.querySelectorAll('details').forEach((one) => { one.open = true; })");
        std::thread::sleep(std::time::Duration::from_millis(400));
        let found = browser.value(state);
        assert_eq!(found[0], found[1], "{width}: {found}");
        assert_eq!(found[2], json!(true));
        assert_eq!(found[0].as_f64().unwrap() > 5.0, expected, "{width}: {found}");
    }
}

/// What is folded on the screen is open on paper, also without scripts.
#[test]
fn nothing_is_folded_on_paper() {
    let Some(mut browser) = Browser::start() else { return };
    let sandbox = demo_wafer();
    let page = sandbox.path("out/report.html");
    let height = "document.querySelector('details:not([open]) table, details:not([open]) pre').getBoundingClientRect().height";
    for is_disabled in [false, true] {
        browser.call("Emulation.setScriptExecutionDisabled", json!({ "value": is_disabled }));
        browser.open(&page, "");
        assert!(browser.number("document.querySelectorAll('details:not([open])').length") > 2.0);
        browser.call("Emulation.setEmulatedMedia", json!({ "media": "print" }));
        assert!(browser.number(height) > 100.0, "{is_disabled}");
        browser.call("Emulation.setEmulatedMedia", json!({ "media": "" }));
    }
}

#[test]
fn a_map_is_clicked_stepped_through_and_filtered() {
    let Some(mut browser) = Browser::start() else { return };
    let sandbox = demo_wafer();
    browser.resize(1400, 1000);
    browser.open(&sandbox.path("out/report.html"), "");
    browser.click("document.querySelector('#lot .map rect:nth-of-type(30)')");
    browser.wait_for("!document.querySelector('#lot .die').hidden");
    let heading = "document.getElementById('die-heading').textContent";
    let first = browser.text(heading);
    browser.value("document.querySelector('#lot .map').focus()");
    browser.press("ArrowDown");
    browser.wait_for(&format!("{heading} !== {}", json!(first)));
    browser.press("ArrowUp");
    browser.wait_for(&format!("{heading} === {}", json!(first)));
    browser.value("history.back()");
    browser.wait_for(&format!("{heading} !== {}", json!(first)));
    let verdict = "[...document.querySelectorAll('#lot .filters select')][2]";
    browser.value(&format!("(() => {{ const one = {verdict}; one.value = 'fail'; one.dispatchEvent(new Event('change')); }})()"));
    let status = browser.text("document.querySelector('#lot [role=status]').textContent");
    let counts = document(&sandbox, "summary.json");
    let fail = number(&counts, "/counts/fail");
    assert!(status.contains(&format!("{fail} fail")), "{status}");
    assert!(browser.text("location.hash").contains("verdict=fail"));
    assert_sound(&mut browser, "filtered");
    browser.keep_screenshot("wafer-filtered.png");
}

const HOSTILE: &str = "</script><img src=x onerror=hit()>'${hit()}{{7*7}}`<b>&lt;";

#[test]
fn hostile_names_are_inert() {
    let Some(mut browser) = Browser::start() else { return };
    let receiver = Sandbox::with_demo();
    let text = receiver.read("receiver.toml");
    let title = text.lines().find(|line| line.starts_with("title")).unwrap().to_owned();
    let hostile = format!("title = '''{}\u{202E}'''", HOSTILE.replace('\'', ""));
    receiver.write("receiver.toml", replaced(&text, &[(&title, &hostile)]));
    receiver.run("downconverter receiver.toml --out out");
    let wafer = Sandbox::new();
    wafer.run("demo-wafer lot --dies 30 --points 11");
    let list = wafer.read("lot/dies.csv");
    let mut reader = csv::Reader::from_reader(list.as_bytes());
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(reader.headers().unwrap().iter().chain(["note"])).unwrap();
    for record in reader.records() {
        let record = record.unwrap();
        let mut fields: Vec<&str> = record.iter().collect();
        (fields[0], fields[1]) = (HOSTILE, "\"><svg onload=hit()>");
        fields.push(HOSTILE);
        writer.write_record(fields).unwrap();
    }
    wafer.write("lot/dies.csv", writer.into_inner().unwrap());
    let run = wafer.run("wafer lot/recipe.toml --out out");
    assert!(run.status < 2, "{}", run.stderr);
    for sandbox in [&receiver, &wafer] {
        let address = format!(
            "#die={0}&lot={0}&by={0}&off={0}&at=1%1F{0}&sort={0}&zoom=1%1F2%1F{0}",
            "%3C/script%3E%3Cimg%20src=x%20onerror=hit()%3E"
        );
        browser.open(&sandbox.path("out/report.html"), &address);
        assert_eq!(browser.complaints(), Vec::<String>::new());
        assert_eq!(
            browser.value("document.querySelectorAll('img, b, svg[onload], [onerror]').length"),
            json!(0)
        );
        assert_eq!(browser.value("[...document.querySelectorAll('*')].flatMap((one) => one.getAttributeNames()).filter((name) => name.startsWith('on')).length"), json!(0));
        assert!(!browser.text("document.body.innerText").contains('\u{202E}'));
    }
    let next =
        "[...document.querySelectorAll('#lot button')].find((one) => one.textContent === 'Next')";
    browser.click(next);
    let heading = browser.text("document.getElementById('die-heading').textContent");
    assert!(heading.contains("</script><img"), "{heading}");
    assert_eq!(browser.complaints(), Vec::<String>::new());
}
