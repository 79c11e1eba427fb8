/**
 * Answers of the desk in words.
 *
 * @typedef {import("./types.js").Spot} Spot
 * @typedef {import("./types.js").Noise} Noise
 */

const LIGHTS_SAID = 5;
const LEAST_SHARE = 0.001;

/**
 * @param {number} stops
 * @returns {string}
 */
function size(stops) {
  const rounded = Math.abs(stops).toFixed(1).replace(/\.0$/, "");
  return `${rounded} ${rounded === "1" ? "stop" : "stops"}`;
}

/**
 * @param {number} share
 * @returns {string}
 */
const percent = (share) => `${share >= 0.1 ? Math.round(100 * share) : (100 * share).toFixed(1)}\u00a0%`;

/**
 * Say what lights a spot; the light that a hand would turn is named first by its number.
 *
 * @param {Spot} spot
 * @param {string} picked
 * @returns {string}
 */
export function spotWords(spot, picked) {
  if (spot.stops === null) return "No light reaches this spot.";
  const level = Math.abs(spot.stops) < 0.05 ? "Middle grey" : `${size(spot.stops)} ${spot.stops < 0 ? "below" : "above"} grey`;
  const clipped = spot.clipped > 0.005 ? `, ${percent(spot.clipped)} of it clipped` : "";
  const holds = picked || spot.lights[0]?.light;
  const lights = spot.lights.flatMap((light, index) => {
    const isHeld = light.light === holds;
    if (!isHeld && (index >= LIGHTS_SAID || light.share < LEAST_SHARE)) return [];
    const held = isHeld ? "▸\u00a0" : "";
    return [`${held}${index + 1}\u00a0${light.title}\u00a0${percent(light.share)}`];
  });
  return [`${level}${clipped}`, ...lights, ...spot.notes].join("   ");
}

/**
 * Say how far lights may still go up.
 *
 * @param {Noise} noise
 * @returns {string}
 */
export function noiseWords(noise) {
  if (!noise.lights.length) return "No light of this mood could be measured.";
  const said = [...noise.lights]
    .sort((one, other) => one.stops - other.stops)
    .map((light) => {
      const room = light.stops < 0.05 ? "no further" : `${size(light.stops)} more`;
      return `${light.title}: ${room}${light.burns ? ", then it burns out" : ""}`;
    });
  return `Before noise shows, up by:\n${said.join("\n")}`;
}
