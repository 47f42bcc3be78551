//! SVG: what is accepted, and drawing it at any resolution.

use super::plane::{Plane, Window};
use super::tone::grey;
use crate::error::{Error, Result};
use resvg::tiny_skia::{Color, Pixmap, Transform};
use resvg::usvg::roxmltree::{Document, Node, NodeId, NodeType, ParsingOptions};
use resvg::usvg::{ImageHrefResolver, Options, Tree};
use std::collections::HashMap;

/// Nodes of a file, and elements after every `use` is replaced by what it shows. Logos have tens to
/// thousands; ten `use` in each of ten steps would be ten thousand million.
const MOST_NODES: u32 = 100_000;

/// Elements inside elements. The reader of SVG calls itself for each.
const MOST_DEPTH: usize = 128;

/// Pixels on the longer side while white margins are sought.
const SURVEY: usize = 1024;

/// A drawing, and the part of it that is not white margin.
#[derive(Clone, Debug)]
pub(super) struct Drawing {
    tree: Tree,
    left: f64,
    top: f64,
    pub(super) width: f64,
    pub(super) height: f64,
    /// Whether it has gradients or filters.
    pub(super) shaded: bool,
}

impl Drawing {
    /// Reads it; with how often it has each tone.
    pub(super) fn read(bytes: &[u8]) -> Result<(Self, [u64; 256])> {
        let text = std::str::from_utf8(bytes)
            .map_err(|_| Error::input("found an SVG that is not UTF-8, wanted UTF-8; save it again as plain SVG"))?;
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let broken = |why: &dyn std::fmt::Display| {
            Error::input(format!("found an SVG that cannot be read ({why}), wanted a whole one; save it again"))
        };
        external_entities(text)?;
        // Entities are common in drawings by old programs; they are resolved within limits, and
        // none from other files.
        let parsing = ParsingOptions { allow_dtd: true, nodes_limit: MOST_NODES, ..ParsingOptions::default() };
        let document = Document::parse_with_options(text, parsing).map_err(|error| broken(&error))?;
        accepted(&document)?;
        let options = Options {
            image_href_resolver: ImageHrefResolver {
                resolve_data: Box::new(|_, _, _| None),
                resolve_string: Box::new(|_, _| None),
            },
            ..Options::default()
        };
        let tree = Tree::from_xmltree(&document, &options).map_err(|error| broken(&error))?;
        let shaded =
            !tree.linear_gradients().is_empty() || !tree.radial_gradients().is_empty() || !tree.filters().is_empty();
        let (width, height) = (f64::from(tree.size().width()), f64::from(tree.size().height()));
        let mut drawing = Self { tree, left: 0.0, top: 0.0, width, height, shaded };
        // The second look is at the part the first one found, so that its margins are as exact.
        drawing.trim()?;
        let trimmed = drawing.trim()?;
        Ok((drawing, trimmed.histogram()))
    }

    /// Leaves out white margins; what is left, as it was seen.
    fn trim(&mut self) -> Result<Plane> {
        let (columns, rows) = self.survey();
        let seen = self.draw(columns, rows)?;
        let found = seen.inked().ok_or_else(blank)?;
        self.narrow(found, columns, rows);
        Ok(seen.part(found))
    }

    /// Pixels of a survey: (along, up).
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "at most SURVEY")]
    fn survey(&self) -> (usize, usize) {
        let side = |length: f64| ((length / self.width.max(self.height) * 1024.0) as usize).clamp(8, SURVEY);
        (side(self.width), side(self.height))
    }

    #[allow(clippy::cast_precision_loss, reason = "at most SURVEY")]
    fn narrow(&mut self, found: Window, columns: usize, rows: usize) {
        let (column, row) = (self.width / columns as f64, self.height / rows as f64);
        self.left += found.left as f64 * column;
        self.top += found.top as f64 * row;
        self.width = (found.right - found.left) as f64 * column;
        self.height = (found.bottom - found.top) as f64 * row;
    }

    /// Draws the part on white, on a grid of so many pixels.
    #[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation, reason = "sizes of pictures")]
    pub(super) fn draw(&self, columns: usize, rows: usize) -> Result<Plane> {
        let side = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
        let mut map = Pixmap::new(side(columns), side(rows))
            .ok_or_else(|| Error::limit(format!("found a drawing of {columns} by {rows} pixels, wanted less")))?;
        map.fill(Color::WHITE);
        let (x, y) = (columns as f64 / self.width, rows as f64 / self.height);
        let onto = Transform::from_row(x as f32, 0.0, 0.0, y as f32, (-self.left * x) as f32, (-self.top * y) as f32);
        resvg::render(&self.tree, onto, &mut map.as_mut());
        // On opaque white nothing stays transparent.
        let tones = map.pixels().iter().map(|pixel| grey(pixel.red(), pixel.green(), pixel.blue())).collect();
        Ok(Plane { width: columns, height: rows, tones })
    }
}

pub(super) fn blank() -> Error {
    Error::input(
        "found nothing but white or transparent, wanted ink; a white logo made for a dark ground must be inverted",
    )
}

/// Refuses what is not drawn here, before it is dropped in silence, and what reaches for other files.
fn accepted(document: &Document) -> Result<()> {
    let root = document.root_element();
    if root.tag_name().name() != "svg" {
        return Err(Error::input(format!("found <{}> as the root, wanted <svg>", root.tag_name().name())));
    }
    let mut depths: HashMap<NodeId, usize> = HashMap::new();
    for node in document.descendants() {
        let depth = node.parent().and_then(|parent| depths.get(&parent.id())).map_or(0, |depth| depth + 1);
        if depth > MOST_DEPTH {
            return Err(Error::input(format!("found elements nested deeper than {MOST_DEPTH}, wanted a flatter SVG")));
        }
        depths.insert(node.id(), depth);
        match node.node_type() {
            NodeType::PI if node.pi().is_some_and(|pi| pi.target == "xml-stylesheet") => {
                return Err(external("xml-stylesheet"));
            }
            NodeType::Element => element(node)?,
            _ => {}
        }
    }
    let ids = document.descendants().filter_map(|node| Some((node.attribute("id")?, node))).collect();
    let shown = Shown { ids, counts: HashMap::new() }.count(root, 0);
    if shown.is_none_or(|count| count > u64::from(MOST_NODES)) {
        return Err(Error::input(format!(
            "found `use` elements that show themselves or more than {MOST_NODES} elements, wanted a simpler SVG"
        )));
    }
    Ok(())
}

fn external(what: &str) -> Error {
    let what: String = what.chars().take(60).collect();
    Error::input(format!("found a reference to another file (`{what}`), wanted an SVG that stands alone"))
}

/// An entity in another file is declared with a place to find it.
fn external_entities(text: &str) -> Result<()> {
    for declared in text.split("<!ENTITY").skip(1) {
        let declared = declared.split('>').next().unwrap_or_default();
        let mut words = declared.split_whitespace().skip_while(|word| *word == "%").skip(1);
        if matches!(words.next(), Some("SYSTEM" | "PUBLIC")) {
            return Err(external(&format!("<!ENTITY{declared}>")));
        }
    }
    Ok(())
}

/// What one element may not be or hold.
fn element(node: Node) -> Result<()> {
    match node.tag_name().name() {
        "text" => {
            let words: String = node.descendants().filter(Node::is_text).filter_map(|node| node.text()).collect();
            let words = words.split_whitespace().collect::<Vec<_>>().join(" ");
            if !words.is_empty() {
                let words: String = words.chars().take(40).collect();
                return Err(Error::input(format!(
                    "found text (`{words}`), wanted outlines only; convert text to outlines (paths) in your drawing program"
                )));
            }
        }
        name @ ("image" | "feImage") => {
            return Err(Error::input(format!(
                "found a picture inside the SVG (<{name}>), wanted outlines only; use the picture itself, as PNG or JPEG"
            )));
        }
        // Within `switch` it is one choice of several, and another one is drawn.
        "foreignObject" if node.parent().is_none_or(|parent| parent.tag_name().name() != "switch") => {
            return Err(Error::input("found a <foreignObject>, wanted outlines only; save it as plain SVG"));
        }
        "style" => {
            if let Some(style) = node.text() {
                urls(style)?;
            }
        }
        _ => {}
    }
    for attribute in node.attributes() {
        let value = attribute.value().trim();
        // A link to follow is drawn like a group.
        let link = attribute.name() == "href" && node.tag_name().name() != "a";
        if link && !value.is_empty() && !value.starts_with('#') {
            return Err(external(value));
        }
        urls(value)?;
    }
    Ok(())
}

/// Refuses `@import`, and `url(…)` that leads out of the document.
fn urls(style: &str) -> Result<()> {
    if style.contains("@import") {
        return Err(external(style));
    }
    for url in style.split("url(").skip(1) {
        let url = url.trim_start_matches(|c: char| c.is_whitespace() || c == '\'' || c == '"');
        if !url.starts_with('#') {
            return Err(external(url.split(')').next().unwrap_or(url)));
        }
    }
    Ok(())
}

/// Counts what is shown once every `use` is replaced.
struct Shown<'a, 'd> {
    ids: HashMap<&'a str, Node<'a, 'd>>,
    counts: HashMap<NodeId, u64>,
}

impl Shown<'_, '_> {
    /// Elements below a node with itself; `None` if it shows itself, or too deep.
    fn count(&mut self, node: Node, depth: usize) -> Option<u64> {
        if depth > 2 * MOST_DEPTH {
            return None;
        }
        if let Some(count) = self.counts.get(&node.id()) {
            return Some(*count);
        }
        let mut count = 1_u64;
        for child in node.children().filter(Node::is_element) {
            count = count.saturating_add(self.count(child, depth + 1)?);
        }
        let link = node.attributes().find(|attribute| attribute.name() == "href");
        let target = link.and_then(|link| self.ids.get(link.value().strip_prefix('#')?).copied());
        if let (true, Some(target)) = (node.tag_name().name() == "use", target) {
            count = count.saturating_add(self.count(target, depth + 1)?);
        }
        self.counts.insert(node.id(), count);
        Some(count)
    }
}
