/**
 * Words for what the page alone knows: where the cursor is, the chart's grid, how long the link has
 * been silent. All else comes worded from the engine. Pure functions, no page, no clock.
 */

export const UNKNOWN = '–'

const known = value => typeof value === 'number' && Number.isFinite(value)

/** Write a number with so many decimals; a tie goes to the even digit, as in the engine. */
export function fixed (value, decimals = 0) {
  if (!known(value)) return UNKNOWN
  const size = Math.abs(value)
  // Only what is an odd number of 2^-(decimals+1) lies exactly between two; toFixed takes the larger.
  const tie = (size * 2 ** (decimals + 1)) % 2 === 1
  const scaled = size * 10 ** decimals
  const text = tie ? (2 * Math.round(scaled / 2) / 10 ** decimals).toFixed(decimals) : size.toFixed(decimals)
  return value < 0 && Number(text) !== 0 ? `-${text}` : text
}

/** Round to a whole number, ties to the even one. */
export const whole = value => Number(fixed(value, 0))

/** How long until, or since: 0:12, 59:59, then 1 h 05 min. */
export function countDown (seconds) {
  if (!known(seconds)) return UNKNOWN
  const left = Math.max(whole(seconds), 0)
  if (left >= 3600) return hoursAndMinutes(seconds / 3600)
  return `${Math.floor(left / 60)}:${String(left % 60).padStart(2, '0')}`
}

/** A duration as in the engine's table: 18 min, 3 h 00 min. */
export function hoursAndMinutes (hours) {
  if (!known(hours)) return UNKNOWN
  const minutes = whole(Math.abs(hours) * 60)
  const sign = hours < 0 && minutes ? '-' : ''
  if (minutes < 60) return `${sign}${minutes} min`
  return `${sign}${Math.floor(minutes / 60)} h ${String(minutes % 60).padStart(2, '0')} min`
}

/** The time of day to the second: 05:00:07Z. */
export function seconds (iso) {
  if (!iso || Number.isNaN(Date.parse(iso))) return UNKNOWN
  return `${new Date(Date.parse(iso)).toISOString().slice(11, 19)}Z`
}

/** A place in degrees and minutes, as it is plotted: 57°30.50'N 011°20.00'W. */
export function position (lat, lon) {
  if (!known(lat) || !known(lon)) return UNKNOWN
  return `${degreesAndMinutes(lat, 2)}${lat < 0 ? 'S' : 'N'} ${degreesAndMinutes(lon, 3)}${lon < 0 ? 'W' : 'E'}`
}

function degreesAndMinutes (degrees, digits) {
  // In hundredths of a minute first, so that 59.999' becomes the next degree.
  const hundredths = whole(Math.abs(degrees) * 6000)
  const minutes = fixed((hundredths % 6000) / 100, 2).padStart(5, '0')
  return `${String(Math.floor(hundredths / 6000)).padStart(digits, '0')}°${minutes}'`
}

/** A line of the chart's grid: 56°40'N, 012°E. */
export function gridWords (degrees, axis) {
  const [digits, plus, minus] = axis === 'lat' ? [2, 'N', 'S'] : [3, 'E', 'W']
  const tenths = whole(Math.abs(degrees) * 600)
  const minutes = (tenths % 600) / 10
  const hand = tenths === 0 || (axis === 'lon' && tenths === 108_000) ? '' : degrees < 0 ? minus : plus
  const rest = minutes === 0 ? '' : `${(minutes % 1 ? fixed(minutes, 1) : String(minutes)).padStart(minutes % 1 ? 4 : 2, '0')}'`
  return `${String(Math.floor(tenths / 600)).padStart(digits, '0')}°${rest}${hand}`
}

/** A longitude of the world's own, -180 to 180. */
export const wrapped = lon => ((((lon + 180) % 360) + 360) % 360) - 180

/** The same longitude, within half a turn of another: so that lines cross the antimeridian whole. */
export const near = (lon, reference) => reference + wrapped(lon - reference)

/** The first sentence of a text, and the rest. */
export function firstSentence (text) {
  const found = /^.*?[.!?](?=\s|$)/s.exec(text)
  return found ? [found[0], text.slice(found[0].length).trim()] : [text, '']
}
