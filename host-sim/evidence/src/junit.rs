//! JUnit XML: results in the form that continuous integration shows.
//!
//! Invariant: the same results give the same bytes. There are no times, dates or host
//! names in it.

use std::io;

use quick_junit::{NonSuccessKind, Report, TestCase, TestCaseStatus, TestSuite};

/// How a case ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Ending {
    /// What was to be shown held.
    Held,
    /// It did not hold.
    Failed {
        /// In one line.
        message: String,
        /// All that helps, such as the command that replays it; lines.
        text: String,
    },
    /// It was not tried.
    Skipped {
        /// Why, in one line.
        message: String,
    },
}

/// A named case.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Case {
    /// Its name, unique in the suite.
    pub name: String,
    /// Its class: what groups cases on the page of a CI server, such as `shaftbook.prove`.
    pub class: String,
    /// How it ended.
    pub ending: Ending,
    /// Facts about it: name and value.
    pub properties: Vec<(String, String)>,
    /// What else it printed; may be empty.
    pub output: String,
}

/// Cases that were run together.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Suite {
    /// Its name, such as `shaftbook prove`.
    pub name: String,
    /// Facts about all of it, such as the seed: name and value.
    pub properties: Vec<(String, String)>,
    /// The cases, in the order in which they are written.
    pub cases: Vec<Case>,
}

impl Suite {
    /// Writes the suite as a whole JUnit file. Characters that XML cannot hold are left out.
    ///
    /// # Errors
    /// `to` cannot be written to.
    pub fn write(&self, to: impl io::Write) -> io::Result<()> {
        let mut suite = TestSuite::new(self.name.as_str());
        for (name, value) in &self.properties {
            suite.add_property((name.as_str(), value.as_str()));
        }
        suite.add_test_cases(self.cases.iter().map(Case::to_test_case));
        let mut report = Report::new(self.name.as_str());
        report.add_test_suite(suite);
        report.serialize(to).map_err(io::Error::other)
    }
}

impl Case {
    fn to_test_case(&self) -> TestCase {
        let status = match &self.ending {
            Ending::Held => TestCaseStatus::success(),
            Ending::Failed { message, text } => {
                let mut status = TestCaseStatus::non_success(NonSuccessKind::Failure);
                status
                    .set_message(message.as_str())
                    .set_type("failed")
                    .set_description(text.as_str());
                status
            }
            Ending::Skipped { message } => {
                let mut status = TestCaseStatus::skipped();
                status.set_message(message.as_str());
                status
            }
        };
        let mut case = TestCase::new(self.name.as_str(), status);
        case.set_classname(self.class.as_str());
        for (name, value) in &self.properties {
            case.add_property((name.as_str(), value.as_str()));
        }
        if !self.output.is_empty() {
            case.set_system_out(self.output.as_str());
        }
        case
    }
}
