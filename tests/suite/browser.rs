//! A Chromium without a window, driven over its protocol: JSON texts that end in a zero byte, on two pipes.
//! No crate is needed for that.

use base64::Engine as _;
use base64::prelude::BASE64_STANDARD;
use serde_json::{Value, json};
use std::io::{BufRead as _, BufReader, Write as _};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;

/// What a page is given to answer; a busy machine is slow.
const PATIENCE: Duration = Duration::from_secs(60);

const NAMES: [&str; 3] = ["chromium", "chromium-browser", "chromium-headless-shell"];

pub(crate) struct Browser {
    process: Child,
    /// Of the browser; `None` once it is told to end.
    commands: Option<ChildStdin>,
    answers: Receiver<Value>,
    session: String,
    last: u64,
    /// What the page reported: messages of its console, exceptions, requests.
    events: Vec<Value>,
    _profile: tempfile::TempDir,
}

/// The browser of this machine; without one, tests of pages are skipped, but where `CI=true`.
fn found() -> Option<PathBuf> {
    let folders = std::env::var_os("PATH").unwrap_or_default();
    let places =
        std::env::split_paths(&folders).flat_map(|folder| NAMES.map(|name| folder.join(name)));
    let found = places.into_iter().find(|place| place.is_file());
    if found.is_none() {
        assert_ne!(std::env::var("CI").as_deref(), Ok("true"), "no Chromium in the path");
        eprintln!("skipped: no Chromium in the path, in which the page would be opened");
    }
    found
}

impl Browser {
    /// Starts a browser with an empty page; `None` where the machine has none.
    pub(crate) fn start() -> Option<Self> {
        let program = found()?;
        let profile = tempfile::tempdir().unwrap();
        // The shell makes files 3 and 4, on which the browser listens and answers, of its own streams.
        let mut command = Command::new("sh");
        command.args(["-c", "exec \"$0\" \"$@\" 3<&0 4>&1 </dev/null >/dev/null 2>&1"]);
        command.arg(program).args([
            "--headless",
            "--remote-debugging-pipe",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-dev-shm-usage",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            "--hide-scrollbars",
        ]);
        command.arg(format!("--user-data-dir={}", profile.path().display()));
        let mut process = command
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let commands = process.stdin.take();
        let mut output = BufReader::new(process.stdout.take().unwrap());
        let (told, answers) = channel();
        std::thread::spawn(move || {
            loop {
                let mut text = Vec::new();
                if output.read_until(0, &mut text).unwrap_or(0) == 0 {
                    return;
                }
                text.pop();
                let Ok(answer) = serde_json::from_slice(&text) else { return };
                if told.send(answer).is_err() {
                    return;
                }
            }
        });
        let session = String::new();
        let mut browser = Self {
            process,
            commands,
            answers,
            session,
            last: 0,
            events: Vec::new(),
            _profile: profile,
        };
        let target = browser.call("Target.createTarget", json!({ "url": "about:blank" }));
        let attach = json!({ "targetId": target["targetId"], "flatten": true });
        let attached = browser.call("Target.attachToTarget", attach);
        browser.session = attached["sessionId"].as_str().unwrap().to_owned();
        for domain in ["Page", "Runtime", "Log", "Network"] {
            browser.call(&format!("{domain}.enable"), json!({}));
        }
        browser.resize(1024, 768);
        Some(browser)
    }

    fn next(&mut self) -> Value {
        self.answers.recv_timeout(PATIENCE).expect("the browser does not answer")
    }

    /// Gives a command and returns its result.
    #[expect(clippy::needless_pass_by_value, reason = "callers make it for this call")]
    pub(crate) fn call(&mut self, method: &str, parameters: Value) -> Value {
        self.last += 1;
        let mut command = json!({ "id": self.last, "method": method, "params": parameters });
        if !self.session.is_empty() {
            command["sessionId"] = json!(self.session);
        }
        let commands = self.commands.as_mut().unwrap();
        commands.write_all(format!("{command}\0").as_bytes()).unwrap();
        loop {
            let answer = self.next();
            if answer["id"] == json!(self.last) {
                assert!(answer["error"].is_null(), "{method}: {answer}");
                return answer["result"].clone();
            }
            self.events.push(answer);
        }
    }

    /// Opens a file and waits until it is loaded; `fragment` begins with `#` or is empty.
    pub(crate) fn open(&mut self, file: &Path, fragment: &str) {
        self.events.clear();
        // Another fragment alone would not load the page again.
        self.call("Page.navigate", json!({ "url": "about:blank" }));
        self.call(
            "Page.navigate",
            json!({ "url": format!("file://{}{fragment}", file.display()) }),
        );
        for _ in 0..600 {
            if self.value("document.readyState") == "complete"
                && self.value("location.protocol") == "file:"
            {
                return;
            }
            std::thread::sleep(Duration::from_millis(50));
        }
        panic!("{} is not loaded", file.display());
    }

    /// The value of an expression in the page; an exception in it fails the test.
    pub(crate) fn value(&mut self, expression: &str) -> Value {
        let asked =
            json!({ "expression": expression, "returnByValue": true, "awaitPromise": true });
        let answer = self.call("Runtime.evaluate", asked);
        assert!(answer["exceptionDetails"].is_null(), "{expression}: {answer}");
        answer["result"]["value"].clone()
    }

    pub(crate) fn text(&mut self, expression: &str) -> String {
        let value = self.value(expression);
        value.as_str().unwrap_or_else(|| panic!("{expression}: {value}")).to_owned()
    }

    pub(crate) fn number(&mut self, expression: &str) -> f64 {
        let value = self.value(expression);
        value.as_f64().unwrap_or_else(|| panic!("{expression}: {value}"))
    }

    /// Waits until an expression is true.
    pub(crate) fn wait_for(&mut self, expression: &str) {
        for _ in 0..200 {
            if self.value(expression) == json!(true) {
                return;
            }
            std::thread::sleep(Duration::from_millis(25));
        }
        panic!("it does not come true: {expression}");
    }

    /// What the page reported that it should not: console messages, exceptions, and requests for anything
    /// but the file itself.
    pub(crate) fn complaints(&mut self) -> Vec<String> {
        // An answer comes after the events before it.
        self.value("0");
        let mut found = Vec::new();
        for event in &self.events {
            let told = &event["params"];
            match event["method"].as_str().unwrap_or_default() {
                "Runtime.consoleAPICalled" | "Runtime.exceptionThrown" | "Log.entryAdded" => {
                    found.push(told.to_string());
                }
                "Network.requestWillBeSent" if told["type"] != "Document" => {
                    let address = told["request"]["url"].as_str().unwrap_or_default();
                    if !address.starts_with("data:") {
                        found.push(format!("a request: {address}"));
                    }
                }
                _ => {}
            }
        }
        found
    }

    pub(crate) fn resize(&mut self, width: u32, height: u32) {
        let size =
            json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": false });
        self.call("Emulation.setDeviceMetricsOverride", size);
    }

    /// Presses and releases a key by its name, such as `ArrowRight` or `+`.
    pub(crate) fn press(&mut self, key: &str) {
        let code = match key {
            "Tab" => 9,
            "Enter" => 13,
            "Escape" => 27,
            " " => 32,
            "End" => 35,
            "Home" => 36,
            "ArrowLeft" => 37,
            "ArrowUp" => 38,
            "ArrowRight" => 39,
            "ArrowDown" => 40,
            _ => 0,
        };
        let text = match key {
            "Enter" => "\r",
            other if other.chars().count() == 1 => other,
            _ => "",
        };
        let mut down = json!({ "type": "keyDown", "key": key, "windowsVirtualKeyCode": code });
        if !text.is_empty() {
            down["text"] = json!(text);
        }
        self.call("Input.dispatchKeyEvent", down);
        let up = json!({ "type": "keyUp", "key": key, "windowsVirtualKeyCode": code });
        self.call("Input.dispatchKeyEvent", up);
    }

    /// A pointer event at a place of the window.
    pub(crate) fn pointer(&mut self, kind: &str, (x, y): (f64, f64)) {
        let (button, count) = if kind == "mouseMoved" { ("none", 0) } else { ("left", 1) };
        let event = json!({ "type": kind, "x": x, "y": y, "button": button, "clickCount": count });
        self.call("Input.dispatchMouseEvent", event);
    }

    /// Clicks the element that an expression gives, in its middle.
    pub(crate) fn click(&mut self, element: &str) {
        let place = self.value(&format!(
            "(() => {{ const one = {element}; one.scrollIntoView({{ block: 'center' }}); const box = one.getBoundingClientRect(); return [box.x + box.width / 2, box.y + box.height / 2]; }})()"
        ));
        let at = (place[0].as_f64().unwrap(), place[1].as_f64().unwrap());
        self.pointer("mousePressed", at);
        self.pointer("mouseReleased", at);
    }

    /// The page on A4 paper, as PDF.
    pub(crate) fn printed(&mut self) -> Vec<u8> {
        let asked = json!({ "printBackground": true, "preferCSSPageSize": true });
        let answer = self.call("Page.printToPDF", asked);
        BASE64_STANDARD.decode(answer["data"].as_str().unwrap()).unwrap()
    }

    /// Keeps a picture of the whole page where `FOURPHASE_SCREENSHOTS` names a folder, for people to look at.
    pub(crate) fn keep_screenshot(&mut self, name: &str) {
        let Some(folder) = std::env::var_os("FOURPHASE_SCREENSHOTS") else { return };
        let asked = json!({ "captureBeyondViewport": true });
        let answer = self.call("Page.captureScreenshot", asked);
        let image = BASE64_STANDARD.decode(answer["data"].as_str().unwrap()).unwrap();
        std::fs::create_dir_all(&folder).unwrap();
        std::fs::write(Path::new(&folder).join(name), image).unwrap();
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        // Without its pipe it ends; the profile goes afterwards.
        self.commands = None;
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}
