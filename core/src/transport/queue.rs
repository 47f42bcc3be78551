//! A print queue as a link: the job is sent while it is made, and followed to its end.

use super::ipp::{JobRequest, Printer, Progress};
use super::{Delivery, Port, Recorder, Say, Shipment, Word};
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
    // Said before any tape is used.
    for doubt in printer.validate(&request)? {
        say(Word::News(&format!("note: {doubt}")));
    }
    let mut last = String::new();
    let mut tell = |progress: &Progress| {
        let now = progress.to_string();
        if now != last {
            say(if progress.wants().is_some() { Word::Wants(&now) } else { Word::News(&now) });
            last = now;
        }
    };
    // When the queue breaks off, its own error is the cause; how far the job was is known on this side.
    let mut reached = Vec::new();
    let sent = printer.print_pushed(&request, &mut tell, |to| {
        let worked = work(&mut Recorder(to, Delivery::Queue));
        if let Err(error) = &worked {
            reached = error.context().to_vec();
        }
        worked
    });
    let mut job = sent.map_err(|mut error| {
        for what in reached {
            if !error.context().contains(&what) {
                error = error.doing(what);
            }
        }
        error
    })?;
    printer.follow(&mut job, &mut tell).map(|_| ())
}

/// The name the job goes under.
fn user() -> String {
    let name = ["USER", "USERNAME"].iter().find_map(|name| std::env::var(name).ok());
    name.filter(|name| !name.is_empty()).unwrap_or_else(|| "tapewright".to_owned())
}
