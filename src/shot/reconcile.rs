//! Two searches for what should be the same sphere: each side may help the other where it is in doubt.
//!
//! The CG sphere stands where the real one stood, so the cone of one side says where to look on the other. A side that
//! found nothing, found several, or found something elsewhere is looked at again near the other's sphere; only an
//! outline that the picture itself supports there is taken, and the report says so.

use crate::Result;
use crate::camera::View;
use crate::image::Frame;
use crate::report::Report;
use crate::sphere::find::fit_near;
use crate::sphere::{FoundBy, SphereCone, SphereFit, SphereSearch, angle_between_rad, outline_of_cone};

/// Cones whose axes differ by less than this fraction of the half-angle are the same place.
const SAME_PLACE: f64 = 0.35;

/// Half-angles within this factor are the same size.
const SAME_SIZE: f64 = 1.3;

/// An outline found near the other side's sphere must show at least this fraction of itself.
const LEAST_SEEN: f64 = 0.5;

/// One side after its own search.
pub(super) struct Looked<'a> {
    pub(super) frame: &'a Frame,
    pub(super) view: &'a View,
    pub(super) search: Result<SphereSearch>,
}

/// Settles both sides.
pub(super) fn reconcile(
    mirror: Looked<'_>,
    cg: Looked<'_>,
    report: &mut Report,
) -> Result<(SphereSearch, SphereSearch)> {
    let (mirror_cone, cg_cone) = (sure(&mirror.search), sure(&cg.search));
    let cg_is_certain = cg.search.as_ref().is_ok_and(|s| s.best.found_by != FoundBy::Search && s.rivals.is_empty());
    let mirror_search = settle(&mirror, cg_cone.as_ref(), cg_is_certain, "CG", report)?;
    let mirror_cone = mirror_cone.filter(|_| cg_cone.is_none());
    let cg_search = settle(&cg, mirror_cone.as_ref(), false, "photographed", report)?;
    Ok((mirror_search, cg_search))
}

/// The cone of a search that left no doubt.
fn sure(search: &Result<SphereSearch>) -> Option<SphereCone> {
    search.as_ref().ok().filter(|s| s.rivals.is_empty()).map(|s| s.best.cone.clone())
}

/// `other_is_certain`: the other side's outline did not come from a search, so a disagreement speaks against this one.
fn settle(
    side: &Looked<'_>,
    other: Option<&SphereCone>,
    other_is_certain: bool,
    whose: &str,
    report: &mut Report,
) -> Result<SphereSearch> {
    let own = side.search.clone();
    let Some(other) = other else { return own };
    let given = own.as_ref().is_ok_and(|s| s.best.found_by != FoundBy::Search);
    let alone = own.as_ref().is_ok_and(|s| s.rivals.is_empty());
    let alike = own.as_ref().is_ok_and(|s| same(&s.best.cone, other));
    if given || (alone && (alike || !other_is_certain)) {
        return own;
    }
    if let Ok(search) = &own
        && let Some(agreeing) = std::iter::once(&search.best).chain(&search.rivals).find(|f| same(&f.cone, other))
    {
        said(side, agreeing, whose, report);
        return Ok(SphereSearch { best: agreeing.clone(), rivals: Vec::new() });
    }
    let near = outline_of_cone(side.view, other).and_then(|start| fit_near(side.frame, side.view, &start));
    match near.filter(|fit| fit.unseen_fraction <= 1.0 - LEAST_SEEN && same(&fit.cone, other)) {
        Some(fit) => {
            said(side, &fit, whose, report);
            Ok(SphereSearch { best: fit, rivals: Vec::new() })
        }
        None => own,
    }
}

fn said(side: &Looked<'_>, fit: &SphereFit, whose: &str, report: &mut Report) {
    let o = fit.outline;
    report.warnings.push(format!(
        "{}: the search alone left doubt; the outline [{:.1}, {:.1}, {:.1}] was taken because the {whose} sphere stands there and the picture shows its edge",
        side.frame.record.file,
        o.centre_x,
        o.centre_y,
        o.mean_radius()
    ));
}

fn same(a: &SphereCone, b: &SphereCone) -> bool {
    let apart = angle_between_rad(&a.axis, &b.axis);
    let ratio = a.half_angle_rad / b.half_angle_rad;
    apart < SAME_PLACE * b.half_angle_rad && ratio < SAME_SIZE && ratio > 1.0 / SAME_SIZE
}
