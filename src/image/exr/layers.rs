//! Which channels of an OpenEXR file are the picture: layers by name prefix, parts, views.

use std::path::Path;

use ::exr::meta::MetaData;
use ::exr::meta::attribute::Text;
use ::exr::meta::header::Header;

use crate::{Error, ErrorKind, Result, printable_text};

/// Longest list of candidates in a message; a production render has hundreds.
const LISTED_AT_MOST: usize = 40;

/// What a layer's channels are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Meaning {
    /// Red, green and blue.
    Rgb,
    /// CIE X, Y and Z.
    Xyz,
    /// One channel, shown as grey.
    Grey,
}

/// The channels to read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Picked {
    /// Index of the part.
    pub(super) part: usize,
    /// Indices into the part's channel list; the same three times for grey.
    pub(super) colour: [usize; 3],
    /// Index of the coverage channel.
    pub(super) alpha: Option<usize>,
    /// What the three are.
    pub(super) meaning: Meaning,
    /// The layer's name, where the file has several.
    pub(super) title: Option<String>,
}

/// Channels of one part that share a name prefix.
#[derive(Debug)]
struct Group {
    part: usize,
    part_name: Option<String>,
    view: Option<String>,
    prefix: String,
    title: String,
    /// Name after the prefix, index in the part's channel list.
    channels: Vec<(String, usize)>,
}

/// Finds the channels of `layer`, or of the picture itself where no layer is named.
///
/// # Errors
/// [`ErrorKind::Parameter`] with the candidates where the name is unknown or the choice is unclear.
pub(super) fn pick(path: &Path, meta: &MetaData, layer: Option<&str>) -> Result<Picked> {
    let groups = groups(meta);
    let chosen = match layer {
        Some(name) => by_name(&groups, name),
        None => by_default(&groups.iter().filter(|g| !meta.headers[g.part].deep).collect::<Vec<_>>())
            .or_else(|| by_default(&groups.iter().collect::<Vec<_>>())),
    };
    let mut picked = chosen.ok_or_else(|| unclear(path, &groups, layer))?;
    picked.title = picked.title.filter(|title| groups.len() > 1 && !title.is_empty());
    Ok(picked)
}

/// All groups of all parts, in file order.
fn groups(meta: &MetaData) -> Vec<Group> {
    let several = meta.headers.len() > 1;
    meta.headers.iter().enumerate().flat_map(|(part, header)| groups_of_part(part, header, several)).collect()
}

/// The groups of one part, in file order.
fn groups_of_part(part: usize, header: &Header, several_parts: bool) -> Vec<Group> {
    let part_name = header.own_attributes.layer_name.as_ref().map(text);
    let mut groups: Vec<Group> = Vec::new();
    for (index, channel) in header.channels.list.iter().enumerate() {
        let name = text(&channel.name);
        let (prefix, suffix) = name.rsplit_once('.').unwrap_or(("", &name));
        let channel = (suffix.to_owned(), index);
        match groups.iter_mut().find(|g| g.prefix == prefix) {
            Some(group) => group.channels.push(channel),
            None => groups.push(Group {
                part,
                view: view_of(header, prefix),
                title: title_of(part, part_name.as_deref(), prefix, several_parts),
                part_name: part_name.clone(),
                prefix: prefix.to_owned(),
                channels: vec![channel],
            }),
        }
    }
    groups
}

/// The view that a group shows: the part's own, or the first (default) one for unprefixed channels.
fn view_of(header: &Header, prefix: &str) -> Option<String> {
    let default = header.own_attributes.multi_view_names.as_ref().and_then(|views| views.first());
    let default = default.filter(|_| prefix.is_empty());
    header.own_attributes.view_name.as_ref().or(default).map(text)
}

/// The name by which a group is asked for.
fn title_of(part: usize, part_name: Option<&str>, prefix: &str, several_parts: bool) -> String {
    if !several_parts {
        return prefix.to_owned();
    }
    let part_name = part_name.map_or_else(|| format!("part {part}"), str::to_owned);
    let repeats = prefix.is_empty() || part_name == prefix;
    if repeats { part_name } else { format!("{part_name}.{prefix}") }
}

impl Group {
    /// The channel of one of these names, in any case.
    fn find(&self, names: &[&str]) -> Option<usize> {
        let named = |(suffix, _): &&(String, usize)| names.iter().any(|n| n.eq_ignore_ascii_case(suffix));
        self.channels.iter().find(named).map(|(_, index)| *index)
    }

    fn triple(&self, names: [&[&str]; 3]) -> Option<[usize; 3]> {
        Some([self.find(names[0])?, self.find(names[1])?, self.find(names[2])?])
    }

    fn alpha(&self) -> Option<usize> {
        self.find(&["A", "alpha"])
    }

    /// The group's one channel beside alpha.
    fn single(&self) -> Option<usize> {
        let mut colour = self.channels.iter().map(|(_, index)| *index).filter(|index| Some(*index) != self.alpha());
        let first = colour.next()?;
        colour.next().is_none().then_some(first)
    }

    /// The group as a picture, if its channels make one.
    fn picture(&self) -> Option<Picked> {
        let rgb = self.triple([&["R", "red"], &["G", "green"], &["B", "blue"]]).map(|c| (c, Meaning::Rgb));
        let xyz = || self.triple([&["X"], &["Y"], &["Z"]]).map(|c| (c, Meaning::Xyz));
        let grey = || self.single().map(|c| ([c; 3], Meaning::Grey));
        let (colour, meaning) = rgb.or_else(xyz).or_else(grey)?;
        Some(Picked { part: self.part, colour, alpha: self.alpha(), meaning, title: Some(self.title.clone()) })
    }

    /// How well a name fits: 0 is the full title, larger is weaker; `None` not at all.
    fn fit(&self, name: &str, same: fn(&str, &str) -> bool) -> Option<usize> {
        let keys = [Some(&self.title), Some(&self.prefix), self.part_name.as_ref(), self.view.as_ref()];
        keys.iter().position(|key| key.is_some_and(|k| same(k, name)))
    }
}

/// The picture that a name means: first letter for letter, then in any case, then as one channel's full name.
fn by_name(groups: &[Group], name: &str) -> Option<Picked> {
    let exact: fn(&str, &str) -> bool = |a, b| a == b;
    let any_case: fn(&str, &str) -> bool = str::eq_ignore_ascii_case;
    best_fit(groups, name, exact)
        .or_else(|| best_fit(groups, name, any_case))
        .or_else(|| one_channel(groups, name, exact))
        .or_else(|| one_channel(groups, name, any_case))
}

/// The one picture among the groups that fit a name best; RGB outranks other meanings.
fn best_fit(groups: &[Group], name: &str, same: fn(&str, &str) -> bool) -> Option<Picked> {
    let fits = |group: &Group| group.fit(name, same).filter(|_| group.picture().is_some());
    let best = groups.iter().filter_map(fits).min()?;
    let pictures: Vec<(&Group, Picked)> =
        groups.iter().filter(|g| fits(g) == Some(best)).filter_map(|g| Some((g, g.picture()?))).collect();
    let rgb = |(_, p): &&(&Group, Picked)| p.meaning == Meaning::Rgb;
    only(pictures.iter())
        .or_else(|| only(pictures.iter().filter(rgb)))
        .or_else(|| only(pictures.iter().filter(rgb).filter(|(g, _)| g.prefix.is_empty())))
        .map(|(_, picked)| picked.clone())
}

/// A single channel by its full name, as grey.
fn one_channel(groups: &[Group], name: &str, same: fn(&str, &str) -> bool) -> Option<Picked> {
    let full = |group: &Group, suffix: &str| {
        if group.prefix.is_empty() { suffix.to_owned() } else { format!("{}.{suffix}", group.prefix) }
    };
    let named = groups.iter().flat_map(|g| g.channels.iter().map(move |c| (g, c)));
    let (group, (_, index)) = only(named.filter(|(g, (suffix, _))| same(&full(g, suffix), name)))?;
    Some(Picked {
        part: group.part,
        colour: [*index; 3],
        alpha: group.alpha().filter(|alpha| alpha != index),
        meaning: Meaning::Grey,
        title: Some(name.to_owned()),
    })
}

/// The picture where no layer is named: unprefixed RGB, else the only colour layer, else the only single channel.
///
/// Prefixed X, Y, Z are positions or normals far more often than colours, so they count only when asked for.
fn by_default(groups: &[&Group]) -> Option<Picked> {
    let pictures: Vec<(&Group, Picked)> = groups.iter().filter_map(|g| Some((*g, g.picture()?))).collect();
    let of = |meaning: Meaning, bare: bool| {
        pictures.iter().filter(move |(g, p)| p.meaning == meaning && (!bare || g.prefix.is_empty()))
    };
    if of(Meaning::Rgb, true).next().is_some() {
        return only(of(Meaning::Rgb, true)).map(|(_, p)| p.clone());
    }
    if of(Meaning::Rgb, false).chain(of(Meaning::Xyz, true)).next().is_some() {
        return only(of(Meaning::Rgb, false).chain(of(Meaning::Xyz, true))).map(|(_, p)| p.clone());
    }
    only(of(Meaning::Grey, false)).map(|(_, p)| p.clone())
}

/// The item of an iterator that has exactly one.
fn only<T>(mut items: impl Iterator<Item = T>) -> Option<T> {
    let first = items.next()?;
    items.next().is_none().then_some(first)
}

/// The error that lists what could be meant.
fn unclear(path: &Path, groups: &[Group], layer: Option<&str>) -> Error {
    let (pictures, other): (Vec<&Group>, Vec<&Group>) = groups.iter().partition(|g| g.picture().is_some());
    let list = list_of(if pictures.is_empty() { &other } else { &pictures });
    let cause = match layer {
        Some(name) if fits_any(groups, name) => format!("several layers fit the name \"{}\"", printable_text(name)),
        Some(name) => format!("the file has no layer named \"{}\"", printable_text(name)),
        None if pictures.is_empty() => "no layer holds a picture".to_owned(),
        None => "the file has several layers, and none is named as the picture".to_owned(),
    };
    let remedy = if pictures.is_empty() {
        format!("write R, G and B channels (the file has: {list})")
    } else {
        match pictures.as_slice() {
            [only] if only.title.is_empty() => {
                let channels = printable_text(&channels_of(only));
                format!("name no layer: the file has only one, without a name (channels {channels})")
            }
            _ => format!("name one of the layers in the file: {list}"),
        }
    };
    Error::new(ErrorKind::Parameter, path, cause, remedy)
}

fn fits_any(groups: &[Group], name: &str) -> bool {
    groups.iter().any(|group| group.fit(name, str::eq_ignore_ascii_case).is_some() && group.picture().is_some())
}

/// The titles of groups, RGB first, unprefixed ones by their channels.
fn list_of(groups: &[&Group]) -> String {
    let title = |group: &&Group| {
        let title = if group.title.is_empty() {
            format!("the unnamed one ({})", channels_of(group))
        } else {
            group.title.clone()
        };
        printable_text(&title)
    };
    let is_rgb = |group: &&&Group| group.picture().is_some_and(|p| p.meaning == Meaning::Rgb);
    let rgb = groups.iter().filter(is_rgb);
    let rest = groups.iter().filter(|g| !is_rgb(g));
    let mut titles: Vec<String> = rgb.chain(rest).map(title).collect();
    let hidden = titles.len().saturating_sub(LISTED_AT_MOST);
    titles.truncate(LISTED_AT_MOST);
    if hidden > 0 {
        titles.push(format!("and {hidden} more"));
    }
    titles.join(", ")
}

fn channels_of(group: &Group) -> String {
    group.channels.iter().map(|(name, _)| name.as_str()).collect::<Vec<_>>().join(" ")
}

/// OpenEXR text as a string; bytes that are not UTF-8 are replaced.
pub(super) fn text(text: &Text) -> String {
    String::from_utf8_lossy(text.as_slice()).into_owned()
}
