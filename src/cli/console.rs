//! The two streams.

use crate::diagnostic::{Diagnostic, printable};
use crate::report::ReportFile;
use std::io::{self, IsTerminal as _, Write as _};
use std::path::Path;

/// The streams and settings of a command's messages.
pub(super) struct Console {
    quiet: bool,
    styled: bool,
}

impl Console {
    pub(super) fn new(quiet: bool) -> Self {
        let no_colour = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
        Self { quiet, styled: io::stderr().is_terminal() && !no_colour }
    }

    /// Whether how far a long run is may be shown.
    pub(super) fn shows_progress(&self) -> bool {
        !self.quiet && io::stderr().is_terminal()
    }

    /// Writes data to standard output. A closed pipe is not an error.
    pub(super) fn data(&self, text: &str) -> io::Result<()> {
        let mut out = io::stdout().lock();
        match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
            Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(()),
            written => written,
        }
    }

    /// Writes a warning to standard error, unless the quiet option is set.
    pub(super) fn warning(&self, text: &str) {
        if !self.quiet {
            let text = format!("warning: {}", printable(text));
            let _ = writeln!(
                io::stderr(),
                "{}",
                textwrap::fill(&text, textwrap::Options::new(80).subsequent_indent("  "))
            );
        }
    }

    /// The same for several.
    pub(super) fn warnings(&self, texts: &[String]) {
        for text in texts {
            self.warning(text);
        }
    }

    /// Names the written files.
    pub(super) fn written(&self, files: &[ReportFile]) {
        files.iter().for_each(|file| self.wrote(&file.path));
    }

    /// Names a written file.
    pub(super) fn wrote(&self, path: &Path) {
        self.notice(&format!("wrote {}", path.display()));
    }

    /// What was done beside the data, such as a file written.
    pub(super) fn notice(&self, text: &str) {
        if !self.quiet {
            let _ = writeln!(io::stderr(), "{}", printable(text));
        }
    }

    /// What stopped the work, or a part of it.
    pub(super) fn error(&self, diagnostic: &Diagnostic) {
        let _ = writeln!(io::stderr(), "{}", diagnostic.render(self.styled));
    }
}
