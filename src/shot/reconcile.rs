//! Two searches for what should be the same sphere: each side may help the other where it is in doubt.
//!
//! The CG sphere stands where the real one stood, so the cone of one side says where to look on the other. A side that
//! found nothing, found several, or found something elsewhere is looked at again; only an outline that the picture
//! itself bears out is taken, and the report says so.

use crate::base::parallel;
use crate::findings::Report;
use crate::image::Frame;
use crate::optics::camera::View;
use crate::sphere::find::{
    LEAST_PROBABILITY, confirmed_at, find_near, fit_near, likely_outlines, looks_like_mirror, no_mirror_in,
    probabilities,
};
use crate::sphere::{FoundBy, Outline, SphereCone, SphereFit, SphereSearch, angle_between_rad, outline_of_cone};
use crate::{Error, Result};

/// Cones whose axes differ by less than this fraction of the half-angle are the same place.
const SAME_PLACE: f64 = 0.35;

/// Half-angles within this factor are the same size.
const SAME_SIZE: f64 = 1.3;

/// An outline found near the other side's sphere must show at least this fraction of itself: arcs of other things
/// join to a third of a circle by chance.
const LEAST_SEEN: f64 = 0.4;

/// Where it shows less than half of itself, its radius must be known to this fraction besides.
const LOOSEST_RADIUS: f64 = 0.02;

/// Axes and half-angles that together differ by less than this fraction of the half-angle are of one outline.
const NEARLY_THERE: f64 = 0.03;

/// Those that together differ by more are of two outlines.
const ANOTHER: f64 = 0.08;

/// An outline is better borne out where the picture shows this fraction more of it.
const SHOWS_MORE: f64 = 0.05;

/// One side after its own search.
pub(super) struct Looked<'a> {
    pub(super) frame: &'a Frame,
    pub(super) view: &'a View,
    pub(super) search: Result<SphereSearch>,
    /// It is a photograph, not a render.
    pub(super) photographed: bool,
    /// The outline was given, not searched for.
    pub(super) given: bool,
}

impl Looked<'_> {
    /// The search's own sphere, where it left no doubt.
    fn sure(&self) -> Option<&SphereFit> {
        self.search.as_ref().ok().filter(|s| s.rivals.is_empty()).map(|s| &s.best).filter(|fit| !fit.hardly_mirrors())
    }

    /// The outline that was taken for want of a better one stands elsewhere than the other side's sphere: it is none.
    fn is_refuted_by(&self, other: &Self) -> bool {
        let guess = self.search.as_ref().ok().filter(|s| s.rivals.is_empty() && s.best.hardly_mirrors());
        guess.zip(other.sure()).is_some_and(|(guess, sphere)| !same(&guess.best.cone, &sphere.cone))
    }

    /// The outline did not come from a search: it is what it is.
    fn certain(&self) -> bool {
        self.sure().is_some_and(|fit| fit.found_by != FoundBy::Search)
    }

    /// The outline of this side that agrees with a cone of the other: of those that the search found the nearest, one
    /// fitted there, or any other round outline.
    fn agreeing(&self, other: &Self, cone: &SphereCone) -> Option<SphereFit> {
        let found = self.search.iter().flat_map(|s| std::iter::once(&s.best).chain(&s.rivals));
        let own =
            found.filter(|f| same(&f.cone, cone)).min_by(|a, b| apart(&a.cone, cone).total_cmp(&apart(&b.cone, cone)));
        let near = || {
            let start = outline_of_cone(self.view, cone)?;
            fit_near(self.frame, self.view, &start).filter(|f| is_borne_out(f) && same(&f.cone, cone))
        };
        // What the search found elsewhere would have to be wrong as well; and a cone under a lens that is only assumed is another
        // outline under the true one.
        let drawn = || {
            if self.sure().is_some() || self.view.is_assumed() != other.view.is_assumed() {
                return None;
            }
            let o = outline_of_cone(self.view, cone)?;
            let fit = find_near(self.frame, self.view, [o.centre_x, o.centre_y, o.mean_radius()]).ok()?;
            same(&fit.cone, cone).then_some(SphereFit { found_by: FoundBy::Search, ..fit })
        };
        // So little of a rim do boards and stones show too, where one is looked for.
        let is_mirror = |fit: &SphereFit| !self.photographed || looks_like_mirror(self.frame, self.view, &fit.cone);
        let confirmed = || confirmed_at(self.frame, self.view, cone);
        own.cloned().or_else(near).or_else(confirmed).or_else(|| drawn().filter(is_mirror))
    }

    /// An outline nearer to a certain one of the other side than the search's own, of which the picture shows more. Arcs of
    /// other things that join a part of the rim make outlines that lie near the sphere and are not it.
    fn better_near(&self, cone: &SphereCone) -> Option<SphereFit> {
        let own = self.sure().filter(|fit| fit.found_by == FoundBy::Search && apart(&fit.cone, cone) > NEARLY_THERE)?;
        let start = outline_of_cone(self.view, cone)?;
        let fit = fit_near(self.frame, self.view, &start)?;
        let shows_more = fit.unseen_fraction + SHOWS_MORE < own.unseen_fraction;
        (shows_more && apart(&fit.cone, cone) < apart(&own.cone, cone)).then_some(fit)
    }

    /// The outline at a certain one's place to a hair, where the search's own is clearly another and the picture shows both.
    fn confirmed_instead(&self, cone: &SphereCone) -> Option<SphereFit> {
        self.sure().filter(|fit| fit.found_by == FoundBy::Search && apart(&fit.cone, cone) > ANOTHER)?;
        confirmed_at(self.frame, self.view, cone)
    }

    fn taken(&self, fit: SphereFit, other: &Self, report: &mut Report) -> SphereSearch {
        // The search alone did not tell, so what parts the outline from a certain one may be its error.
        let expected = other.sure().filter(|_| other.certain()).map(|certain| certain.cone.clone());
        let fit = match expected {
            Some(cone) => fit.doubted_against(self.view, &cone),
            None => fit,
        };
        let o = fit.outline;
        report.assumptions.push(format!(
            "{}: the free search was inconclusive; the outline [{:.1}, {:.1}, {:.1}] was fitted to the edge that the picture shows at the place of the other sphere",
            self.frame.record.file,
            o.centre_x,
            o.centre_y,
            o.mean_radius()
        ));
        SphereSearch { best: fit, rivals: Vec::new() }
    }
}

/// Settles both sides: photographed, CG.
pub(super) fn reconcile(
    mirror: Looked<'_>,
    cg: Looked<'_>,
    report: &mut Report,
) -> Result<(SphereSearch, SphereSearch)> {
    // Another outline than the one that was asked for is no answer.
    if (mirror.given && mirror.search.is_err()) || (cg.given && cg.search.is_err()) {
        return Ok((mirror.search?, cg.search?));
    }
    if let (Some(a), Some(b)) = (mirror.sure(), cg.sure()) {
        if same(&a.cone, &b.cone) || (mirror.certain() && cg.certain()) {
            let better = if cg.certain() { mirror.better_near(&b.cone) } else { None };
            return match better.map(Replaced::Mirror).or_else(|| one_outline(&mirror, &cg)) {
                Some(Replaced::Mirror(fit)) => Ok((mirror.taken(fit, &cg, report), cg.search?)),
                Some(Replaced::Cg(fit)) => {
                    let settled = cg.taken(fit, &mirror, report);
                    Ok((mirror.search?, settled))
                }
                None => Ok((mirror.search?, cg.search?)),
            };
        }
        return disagreeing(mirror, cg, report);
    }
    if let Some(fit) = cg.sure().and_then(|sphere| mirror.agreeing(&cg, &sphere.cone)) {
        let settled = mirror.taken(fit, &cg, report);
        return Ok((settled, cg.search?));
    }
    if let Some(fit) = mirror.sure().and_then(|sphere| cg.agreeing(&mirror, &sphere.cone)) {
        let settled = cg.taken(fit, &mirror, report);
        return Ok((mirror.search?, settled));
    }
    if mirror.sure().is_none()
        && cg.sure().is_none()
        && let Some((a, b)) = common(&mirror, &cg)
    {
        return Ok((mirror.taken(a, &cg, report), cg.taken(b, &mirror, report)));
    }
    for (side, other) in [(&mirror, &cg), (&cg, &mirror)] {
        if side.is_refuted_by(other) {
            return Err(no_mirror_in(side.frame));
        }
    }
    let sure_cg = cg.sure().map(|fit| fit.outline);
    match (mirror.search, cg.search) {
        // A render shows its sphere; where neither does, it is most likely the wrong picture.
        (Err(_), Err(of_cg)) => Err(neither(of_cg, mirror.frame)),
        (Err(of_mirror), Ok(_)) => Err(match sure_cg {
            Some(outline) => not_where_cg_has_it(of_mirror, cg.frame, outline),
            None => of_mirror,
        }),
        (of_mirror, of_cg) => Ok((of_mirror?, of_cg?)),
    }
}

/// The CG shows no sphere, and without it none was told for sure in the photograph.
fn neither(mut of_cg: Error, mirror: &Frame) -> Error {
    of_cg.cause = format!(
        "given as the CG, {}; without it, no sphere was found for certain in {}",
        of_cg.cause, mirror.record.file
    );
    of_cg.remedy = format!("make sure that this is the CG sphere of this shot; {}", of_cg.remedy);
    of_cg
}

/// The CG shows a sphere where the photograph shows none, and neither does it show one elsewhere.
fn not_where_cg_has_it(mut of_mirror: Error, cg: &Frame, sphere: Outline) -> Error {
    let file = &cg.record.file;
    let Outline { centre_x, centre_y, .. } = sphere;
    of_mirror.cause = format!(
        "{}; nor is there a mirror where the CG sphere is ({centre_x:.0}, {centre_y:.0}, radius {:.0} px in {file})",
        of_mirror.cause,
        sphere.mean_radius()
    );
    of_mirror.remedy = format!("make sure that {file} is the CG of this shot; {}", of_mirror.remedy);
    of_mirror
}

/// The side whose outline is replaced, and by which.
enum Replaced {
    Mirror(SphereFit),
    Cg(SphereFit),
}

/// Two outlines lie beside each other, at least one of them searched for, and cannot both be the sphere's where it stands in
/// one place: one follows a part of something else. The outline that the other picture shows too is the sphere's; where each
/// shows the other's, that of which both together show more.
fn one_outline(mirror: &Looked<'_>, cg: &Looked<'_>) -> Option<Replaced> {
    let (own, theirs) = (mirror.sure()?, cg.sure()?);
    let (here, there) = parallel::both(|| mirror.confirmed_instead(&theirs.cone), || cg.confirmed_instead(&own.cone));
    match (here, there) {
        (Some(fit), None) => Some(Replaced::Mirror(fit)),
        (None, Some(fit)) => Some(Replaced::Cg(fit)),
        (Some(here), Some(there)) => {
            let unseen_there = here.unseen_fraction + theirs.unseen_fraction;
            let unseen_here = own.unseen_fraction + there.unseen_fraction;
            Some(if unseen_there < unseen_here { Replaced::Mirror(here) } else { Replaced::Cg(there) })
        }
        (None, None) => None,
    }
}

/// Both are sure of different places. A certain side decides where the other has an edge; else the spheres are taken
/// as they are, and it is said.
fn disagreeing(mirror: Looked<'_>, cg: Looked<'_>, report: &mut Report) -> Result<(SphereSearch, SphereSearch)> {
    if !mirror.certain()
        && let Some(fit) = cg.sure().and_then(|sphere| mirror.agreeing(&cg, &sphere.cone))
    {
        let settled = mirror.taken(fit, &cg, report);
        return Ok((settled, cg.search?));
    }
    if !cg.certain()
        && let Some(fit) = mirror.sure().and_then(|sphere| cg.agreeing(&mirror, &sphere.cone))
    {
        let settled = cg.taken(fit, &mirror, report);
        return Ok((mirror.search?, settled));
    }
    report.warnings.push("the CG sphere is not where the photographed one is, or has a different size".to_owned());
    Ok((mirror.search?, cg.search?))
}

/// Neither side is sure on its own: of the outlines that both show at one place the likeliest, where both together are likely
/// enough. Both show the same sphere or neither does, so the logarithms of their odds add up.
fn common(mirror: &Looked<'_>, cg: &Looked<'_>) -> Option<(SphereFit, SphereFit)> {
    let (ours, theirs) =
        parallel::both(|| likely_outlines(mirror.frame, mirror.view), || likely_outlines(cg.frame, cg.view));
    let pairs: Vec<(&SphereFit, &SphereFit, f64)> = ours
        .iter()
        .flat_map(|a| theirs.iter().map(move |b| (a, b)))
        .filter(|((a, _), (b, _))| same(&a.cone, &b.cone))
        .map(|((a, a_odds), (b, b_odds))| (a, b, a_odds + b_odds))
        .collect();
    let (a, b, _) = pairs.iter().max_by(|x, y| x.2.total_cmp(&y.2))?;
    let chances = probabilities(&pairs.iter().map(|p| p.2).collect::<Vec<_>>());
    let of_this_place = pairs.iter().zip(chances).filter(|(p, _)| same(&p.0.cone, &a.cone));
    let likely = of_this_place.map(|(_, chance)| chance).sum::<f64>() >= LEAST_PROBABILITY;
    // What parts the two may be an error of either.
    likely.then(|| ((*a).clone().doubted_against(mirror.view, &b.cone), (*b).clone().doubted_against(cg.view, &a.cone)))
}

/// The picture itself shows enough of the outline.
fn is_borne_out(fit: &SphereFit) -> bool {
    let seen = 1.0 - fit.unseen_fraction;
    let radius_sd = fit.cone_cov[(2, 2)].max(0.0).sqrt() / fit.cone.half_angle_rad;
    seen >= 0.5 || (seen >= LEAST_SEEN && radius_sd <= LOOSEST_RADIUS)
}

/// Distance of the axes and difference of the half-angles, as a fraction of the second half-angle.
fn apart(a: &SphereCone, b: &SphereCone) -> f64 {
    (angle_between_rad(&a.axis, &b.axis) + (a.half_angle_rad - b.half_angle_rad).abs()) / b.half_angle_rad.max(1e-9)
}

/// Two cones are of one sphere, as far as two cameras that should stand alike can tell.
pub(super) fn same(a: &SphereCone, b: &SphereCone) -> bool {
    let apart = angle_between_rad(&a.axis, &b.axis);
    let ratio = a.half_angle_rad / b.half_angle_rad;
    apart < SAME_PLACE * b.half_angle_rad && ratio < SAME_SIZE && ratio > 1.0 / SAME_SIZE
}
