//! A print queue as a link: the job is sent while it is made, and followed to its end.

use super::ipp::{JobRequest, Printer, Progress};
use super::{Port, Recorder, Say, Shipment};
use crate::error::Result;

/// Sends what `work` puts out as one job and waits for its end.
pub(super) fn carry(
    uri: &str,
    shipment: &Shipment<'_>,
    say: Say<'_>,
    work: &mut dyn FnMut(&mut dyn Port) -> Result<()>,
) -> Result<()> {
    let printer = Printer::connect(uri)?;
    let mut request = JobRequest::new(shipment.name, user());
    request.format = super::ipp::format_of(shipment.family);
    request.size = Some((shipment.width, shipment.longest));
    let mut last = String::new();
    let mut tell = |progress: &Progress| {
        let now = progress.to_string();
        if now != last {
            say(&now);
            last = now;
        }
    };
    let mut job = printer.print_pushed(&request, &mut tell, |to| work(&mut Recorder(to)))?;
    for doubt in &job.doubts {
        say(&format!("note: {doubt}"));
    }
    printer.follow(&mut job, &mut tell).map(|_| ())
}

/// The name the job goes under.
fn user() -> String {
    let name = ["USER", "USERNAME"].iter().find_map(|name| std::env::var(name).ok());
    name.filter(|name| !name.is_empty()).unwrap_or_else(|| "tapewright".to_owned())
}
