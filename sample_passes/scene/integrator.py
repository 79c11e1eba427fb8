"""The light transport of the scene: one path tracer for every pass, beauty and truth.

What it does that a stock integrator does not:

* The open sky adds no radiance and no coverage where the camera sees it directly (plates go there),
  while it lights the scene and shows in the reflections of the panes.
* The luminous parts of fixtures show to the camera, darker towards their rims.
* Panes are thin plates without refraction. Light passes through them straight, weakened by Fresnel
  reflection, so that next-event estimation works through glass. Their mirror image is followed for
  camera rays only; further bounces lose the reflected share (a few per cent).
* Sun and sky are sampled on their own (a cone; the window openings as portals), combined with
  scattering by the balance heuristic, and fixtures by Mitsuba's area-emitter sampling.
* Indoors a share of the scattered rays is aimed at the openings when daylight is on, because most
  of the light comes in there (a mixture of two densities, so nothing is lost or counted twice).

Everything is linear in the radiance of each light, and paths end by rules that do not depend on
the lights. A sum of scaled passes therefore equals a render with scaled lights in expectation.
"""

from __future__ import annotations

import drjit as dr
import mitsuba as mi
from sources import Daylight, Rect, Strips, pane_reflectance

MIRROR_CHANCE = 0.3
AIMED_SHARE = 0.35
LAMP_CANDIDATES = 4
LAMP_CANDIDATES_NEAR = 2
SUNBEAM_START = 60.0
LIMB = 0.4


def limb(cosine: mi.Float) -> mi.Float:
    """Return the radiance of a luminous surface at an angle, 1 being that of an even one.

    Opal glass, cloth and wax shine through their thickness: brightest seen straight on, darker
    towards the rim. The flux is the same as for an even surface.
    """
    return LIMB + (1 - LIMB) * 1.5 * dr.abs(cosine)


class LightPassIntegrator(mi.SamplingIntegrator):
    """Unidirectional path tracer with analytic panes and a sky hidden from the camera."""

    def __init__(self, props: mi.Properties) -> None:
        super().__init__(props)
        self.max_depth = props.get("max_depth", 7)
        self.panes: list[Rect] = []
        self.portals: list[Rect] = []
        self.room: tuple[list[float], list[float]] = ([0, 0, 0], [0, 0, 0])
        self.daylight = Daylight([0, 0, 0], [0, 0, 0], [0, 0, 1], 0.9999)
        self.has_fixtures = True
        self.has_daylight = True
        self.strips: Strips | None = None

    def transmittance(self, ray: mi.Ray3f, reach: mi.Float) -> mi.Float:
        """Return the share of light that gets through all panes on a segment."""
        through = mi.Float(1.0)
        for pane in self.panes:
            hit, _ = pane.crossing(ray, reach)
            through[hit] *= 1 - pane_reflectance(ray.d[pane.axis])
        return through

    def first_pane(self, ray: mi.Ray3f, reach: mi.Float) -> tuple[mi.Bool, mi.Float, mi.Bool]:
        """Return whether a pane is crossed, how far away the nearest is, and if it faces x."""
        nearest, along_x = mi.Float(reach), mi.Bool(False)
        found = mi.Bool(False)
        for pane in self.panes:
            hit, distance = pane.crossing(ray, nearest)
            nearest[hit] = distance
            along_x[hit] = pane.axis == 0
            found |= hit
        return found, nearest, along_x

    def indoors(self, point: mi.Point3f) -> mi.Bool:
        """Return whether a point lies in the room."""
        low, high = self.room
        inside = (point.x > low[0]) & (point.x < high[0])
        return inside & (point.y > low[1]) & (point.y < high[1]) & (point.z < high[2])

    def portal_pdf(self, ray: mi.Ray3f) -> mi.Float:
        """Return the density, per steradian, of sampling the ray's direction via the portals."""
        inside = self.indoors(ray.o)
        total = sum(p.area for p in self.portals)
        pdf = mi.Float(0.0)
        for portal in self.portals:
            hit, distance = portal.crossing(ray, mi.Float(dr.inf))
            cosine = dr.maximum(dr.abs(ray.d[portal.axis]), 1e-6)
            pdf[hit & inside] += dr.square(distance) / (cosine * total)
        return pdf

    def sample_portal_point(self, u: mi.Point2f, pick: mi.Float) -> mi.Point3f:
        """Return a random point on a random portal (chosen by area)."""
        total = sum(p.area for p in self.portals)
        chosen, start = mi.Point3f(0.0), 0.0
        for portal in self.portals:
            share = portal.area / total
            a = dr.lerp(portal.low[0], portal.high[0], u.x)
            z = dr.lerp(portal.low[1], portal.high[1], u.y)
            point = mi.Point3f(portal.at, a, z) if portal.axis == 0 else mi.Point3f(a, portal.at, z)
            chosen = dr.select((pick >= start) & (pick < start + share), point, chosen)
            start += share
        return chosen

    def sample_portal(self, si: mi.SurfaceInteraction3f, u: mi.Point2f, pick: mi.Float) -> mi.Ray3f:
        """Return a ray from a surface towards a random point of the portals."""
        return si.spawn_ray(dr.normalize(self.sample_portal_point(u, pick) - si.p))

    def sample(self, scene, sampler, ray, medium=None, active=True):
        """Trace one camera path; return its radiance and whether it met anything."""
        ray, throughput, mirrored = self._through_first_pane(scene, sampler, mi.Ray3f(ray))
        return self._trace(scene, sampler, ray, throughput, mirrored, mi.Bool(active))

    def _through_first_pane(self, scene, sampler, ray):
        """Send a camera ray on through the panes, or (by chance) off the nearest one."""
        reach = scene.ray_intersect_preliminary(ray).t
        crossed, distance, along_x = self.first_pane(ray, reach)
        mirror = crossed & (sampler.next_1d() < MIRROR_CHANCE)
        cosine = dr.select(along_x, ray.d.x, ray.d.y)
        reflectance = pane_reflectance(cosine)
        straight = self.transmittance(ray, reach) / dr.select(crossed, 1 - MIRROR_CHANCE, 1.0)
        throughput = mi.Color3f(dr.select(mirror, reflectance / MIRROR_CHANCE, straight))
        turned = mi.Vector3f(ray.d)
        turned.x[along_x] = -ray.d.x
        turned.y[~along_x] = -ray.d.y
        bounced = mi.Ray3f(ray)
        bounced.o = ray(distance) + turned * 1e-4
        bounced.d = turned
        return dr.select(mirror, bounced, ray), throughput, mirror

    @dr.syntax
    def _trace(self, scene, sampler, ray, throughput, mirrored, active):
        radiance = mi.Color3f(0.0)
        depth = mi.UInt32(0)
        alone = mi.Bool(True)
        sky_shows = mi.Bool(mirrored)
        covered = mi.Bool(mirrored)
        pdf_scatter = mi.Float(1.0)
        previous = dr.zeros(mi.Interaction3f)
        context = mi.BSDFContext()
        sun_pdf = self.daylight.sun_pdf

        while active:
            si = scene.ray_intersect(ray, active)
            hit = si.is_valid()
            if depth > 0:
                throughput *= self.transmittance(ray, si.t)
            covered |= hit

            # Sun and sky where the path leaves the scene.
            leaves = ~hit & sky_shows
            weight = dr.select(alone, 1.0, pdf_scatter / (pdf_scatter + self.portal_pdf(ray)))
            radiance[leaves] += throughput * weight * self.daylight.sky(ray.d)
            weight = dr.select(alone, 0.0, pdf_scatter / (pdf_scatter + sun_pdf))
            sun_met = leaves & self.daylight.in_sun(ray.d)
            radiance[sun_met] += throughput * weight * mi.Color3f(self.daylight.sun_rgb)

            # The luminous part of a fixture.
            if self.has_fixtures:
                ds = mi.DirectionSample3f(scene, si, previous)
                pdf_light = scene.pdf_emitter_direction(previous, ds, ~alone & hit)
                weight = dr.select(alone, 1.0, pdf_scatter / (pdf_scatter + pdf_light))
                radiance += throughput * weight * ds.emitter.eval(si, hit) * limb(si.wi.z)

            active &= hit & (depth + 1 < self.max_depth)
            bsdf = si.bsdf(ray)
            came_from_room = (depth > 0) & self.indoors(previous.p)
            radiance += throughput * self._lit(
                scene,
                sampler,
                context,
                si,
                bsdf,
                active,
                depth,
                previous,
                came_from_room,
                pdf_scatter,
            )

            sample, value = bsdf.sample(
                context, si, sampler.next_1d(active), sampler.next_2d(active), active
            )
            ray = si.spawn_ray(si.to_world(sample.wo))
            pdf_scatter = sample.pdf
            if self.has_daylight:
                ray, value, pdf_scatter = self._aimed(
                    sampler, context, si, bsdf, ray, value, pdf_scatter, active
                )
            throughput *= value
            previous = dr.detach(mi.Interaction3f(si))
            alone = mi.Bool(False)
            sky_shows = mi.Bool(True)
            depth += 1

            survive = dr.minimum(dr.max(throughput) * 1.4, 0.95)
            roulette = depth >= 3
            active &= (dr.max(throughput) > 0) & (~roulette | (sampler.next_1d(active) < survive))
            throughput[roulette] *= dr.rcp(dr.maximum(survive, 1e-6))

        return radiance, covered, []

    def _scatter_pdf(self, ray, pdf_bsdf):
        """Return the density with which a direction is scattered, aiming included."""
        if not self.has_daylight:
            return pdf_bsdf
        share = dr.select(self.indoors(ray.o), AIMED_SHARE, 0.0)
        return (1 - share) * pdf_bsdf + share * self.portal_pdf(ray)

    def _aimed(self, sampler, context, si, bsdf, ray, value, pdf, active):
        """Aim a share of the rays scattered indoors at the openings; return ray, weight, pdf."""
        to_portal = self.sample_portal(si, sampler.next_2d(active), sampler.next_1d(active))
        aimed = mi.Bool(active) & self.indoors(ray.o)
        ray = dr.select(aimed & (sampler.next_1d(active) < AIMED_SHARE), to_portal, ray)
        f, pdf_bsdf = bsdf.eval_pdf(context, si, si.to_local(ray.d), aimed)
        mixed = self._scatter_pdf(ray, pdf_bsdf)
        value = dr.select(aimed, dr.select(mixed > 0, f / mixed, 0.0), value)
        return ray, value, dr.select(aimed, mixed, pdf)

    def _lit(
        self,
        scene,
        sampler,
        context,
        si,
        bsdf,
        active,
        depth,
        previous,
        came_from_room,
        pdf_scatter,
    ):
        """Return reflected light of sun, sky and fixtures, and of sunlit spots in the room."""
        total = mi.Color3f(0.0)
        if self.has_fixtures:
            total += self._lamp_sample(scene, sampler, context, si, bsdf, active)
        if max(self.daylight.sun_rgb) > 0:
            ray = si.spawn_ray(self._toward_sun(sampler, active))
            light = mi.Color3f(self.daylight.sun_rgb)
            pdf = mi.Float(self.daylight.sun_pdf)
            direct = self._day_sample(scene, context, si, bsdf, ray, light, pdf, active)
            linked = dr.select(came_from_room, self._link_pdf(si, previous.p, ray), 0.0)
            total += direct * pdf_scatter / dr.maximum(pdf_scatter + linked, 1e-9)
            total += self._sunlit_link(
                scene, sampler, context, si, bsdf, active & (depth + 2 < self.max_depth)
            )
        if max(self.daylight.sky_rgb) > 0:
            ray = self.sample_portal(si, sampler.next_2d(active), sampler.next_1d(active))
            pdf = self.portal_pdf(ray)
            light = self.daylight.sky(ray.d)
            total += self._day_sample(scene, context, si, bsdf, ray, light, pdf, active & (pdf > 0))
        return total

    def _toward_sun(self, sampler, active):
        """Return a random direction to the sun's disc."""
        offset = mi.warp.square_to_uniform_cone(sampler.next_2d(active), self.daylight.sun_cosine)
        return mi.Frame3f(mi.Vector3f(self.daylight.to_sun)).to_world(offset)

    def _link_pdf(self, spot, origin, sun_ray):
        """Return the density, per steradian at ``origin``, of :meth:`_sunlit_link` for a spot."""
        total = sum(p.area for p in self.portals)
        per_area = mi.Float(0.0)
        for portal in self.portals:
            hit, _ = portal.crossing(sun_ray, mi.Float(dr.inf))
            per_area[hit] += 1 / (dr.abs(sun_ray.d[portal.axis]) * total)
        per_area *= dr.abs(dr.dot(spot.n, sun_ray.d))
        to_origin = origin - spot.p
        squared = dr.squared_norm(to_origin)
        cosine = dr.abs(dr.dot(spot.n, to_origin)) * dr.rsqrt(squared)
        return per_area * squared / dr.maximum(cosine, 1e-6)

    def _sunlit_link(self, scene, sampler, context, si, bsdf, active):
        """Return light of one sunlit spot in the room, reflected at si.

        The spot is where a sunbeam through a random point of an opening first lands. The balance
        heuristic weighs it against meeting the same spot by scattering.
        """
        active = mi.Bool(active) & self.indoors(si.p)
        d_sun = self._toward_sun(sampler, active)
        entry = self.sample_portal_point(sampler.next_2d(active), sampler.next_1d(active))
        spot = scene.ray_intersect(mi.Ray3f(entry + SUNBEAM_START * d_sun, -d_sun), active)
        active &= spot.is_valid() & (spot.t > SUNBEAM_START)
        link = si.spawn_ray_to(spot.p)
        value, pdf = bsdf.eval_pdf(context, si, si.to_local(link.d), active)
        active &= dr.max(value) > 0
        spot.wi = spot.to_local(-link.d)
        sun_ray = spot.spawn_ray(d_sun)
        glow, pdf_glow = spot.bsdf().eval_pdf(context, spot, spot.to_local(d_sun), active)
        glow *= mi.Color3f(self.daylight.sun_rgb) * self.transmittance(sun_ray, mi.Float(dr.inf))
        glow /= self.daylight.sun_pdf + self._scatter_pdf(sun_ray, pdf_glow)
        pdf = self._scatter_pdf(link, pdf) + self._link_pdf(spot, si.p, sun_ray)
        active &= (dr.max(glow) > 0) & (pdf > 0)
        active &= ~scene.ray_test(link, active)
        through = self.transmittance(link, link.maxt)
        return dr.select(active, value * glow * through / pdf, 0.0)

    def _lamp_sample(self, scene, sampler, context, si, bsdf, active):
        """Return the reflected light of the lamps.

        Of several points on lamps, taken without regard to what stands between, one is kept with a
        chance in proportion to what it would give, and only that one is tested for visibility
        (resampled importance sampling; J. Talbot et al., 2005). Each candidate already carries its
        balance-heuristic weight against scattering.
        """
        sum_of_chances, kept_chance = mi.Float(0.0), mi.Float(0.0)
        kept, target = mi.Color3f(0.0), mi.Point3f(0.0)
        near = LAMP_CANDIDATES_NEAR if self.strips else 0
        share_near = near / LAMP_CANDIDATES
        for number in range(LAMP_CANDIDATES):
            if number < near:
                ds, light = self.strips.sample_near(si, sampler.next_2d(active))
                pdf_near = self.strips.pdf_near(si, ds)
            else:
                ds, weight = scene.sample_emitter_direction(
                    si, sampler.next_2d(active), False, active
                )
                light = weight * ds.pdf
                pdf_near = self.strips.pdf_near(si, ds) if self.strips else mi.Float(0.0)
            lit = active & (ds.pdf > 0) & (dr.max(light) > 0)
            pdf_taken = (1 - share_near) * ds.pdf + share_near * pdf_near
            value, pdf = bsdf.eval_pdf(context, si, si.to_local(ds.d), lit)
            pdf = self._scatter_pdf(si.spawn_ray(ds.d), pdf)
            light *= limb(dr.dot(ds.n, -ds.d))
            gives = value * light * ds.pdf / ((ds.pdf + pdf) * pdf_taken)
            gives = dr.select(lit, gives, 0.0)
            chance = mi.luminance(gives)
            sum_of_chances += chance
            keep = sampler.next_1d(active) * sum_of_chances < chance
            kept, target = dr.select(keep, gives, kept), dr.select(keep, ds.p, target)
            kept_chance = dr.select(keep, chance, kept_chance)
        lit = active & (kept_chance > 0)
        ray = si.spawn_ray_to(target)
        lit &= ~scene.ray_test(ray, lit)
        through = self.transmittance(ray, ray.maxt)
        scale = sum_of_chances / (LAMP_CANDIDATES * kept_chance)
        return dr.select(lit, kept * scale * through, 0.0)

    def _day_sample(self, scene, context, si, bsdf, ray, light, pdf_light, active):
        """Return the reflected part of one sun or sky sample, if nothing solid is in the way."""
        value, pdf = bsdf.eval_pdf(context, si, si.to_local(ray.d), active)
        pdf = self._scatter_pdf(ray, pdf)
        active = active & (dr.max(value) > 0)
        free = active & ~scene.ray_test(ray, active)
        through = self.transmittance(ray, mi.Float(dr.inf))
        return dr.select(free, value * light * through / (pdf_light + pdf), 0.0)


class CoverageIntegrator(mi.SamplingIntegrator):
    """Exact coverage: 1 on solid things, 1 - transmittance where the sky shows through panes."""

    def __init__(self, props: mi.Properties) -> None:
        super().__init__(props)
        self.panes: list[Rect] = []

    def sample(self, scene, sampler, ray, medium=None, active=True):
        """Return the coverage of one camera ray as a grey value."""
        hit = scene.ray_intersect_preliminary(ray, coherent=True, active=active).is_valid()
        through = LightPassIntegrator.transmittance(self, mi.Ray3f(ray), mi.Float(dr.inf))
        return mi.Color3f(dr.select(hit, 1.0, 1 - through)), mi.Bool(active), []


mi.register_integrator("light_pass", LightPassIntegrator)
mi.register_integrator("coverage", CoverageIntegrator)
