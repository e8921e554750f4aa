/** The drawing of the speeds she can make now, north up: plain SVG. */

import { draw, make } from './dom.js'

const SIZE = 420
const MIDDLE = SIZE / 2
const RIM = 168
const DASHES = ['first', 'second', 'third', 'fourth']

const known = value => typeof value === 'number' && Number.isFinite(value)

/** Draws into `room` and `key`; `polar` may be null, `panel` gives what is now. */
export function drawPolar (room, key, polar, panel) {
  const scale = scaleOf(polar, panel)
  const at = ({ east_kn: east, north_kn: north }) => [MIDDLE + east * scale.pixels, MIDDLE - north * scale.pixels]
  const sets = [...new Set(polar.curves.map(each => each.sail_set))]
  const picture = draw('svg', { viewBox: `0 0 ${SIZE} ${SIZE}`, role: 'img', 'aria-label': polar.shown?.told ?? '' },
    ...rings(scale),
    polar.hull.length ? draw('path', { d: `${path(polar.hull, at)}Z`, class: 'hull-area' }) : null,
    ...polar.curves.flatMap(curve => curveLines(curve, sets.indexOf(curve.sail_set), at)),
    ...bearing(polar, scale, at),
    ...polar.chosen.flatMap(each => chosen(each, at)),
    ...own(panel.boat, at),
    wind(polar.twd_deg)
  )
  room.replaceChildren(picture)
  key.replaceChildren(...keyRows(polar, panel, sets))
}

function scaleOf (polar, panel) {
  const all = [...polar.curves.flatMap(each => each.points), ...polar.hull, ...polar.chosen, panel.boat ?? {}]
  const most = all.reduce((most, each) => Math.max(most, Math.hypot(each.east_kn ?? 0, each.north_kn ?? 0)), 2)
  const step = [0.5, 1, 2, 5, 10].find(each => most / each <= 5) ?? 10
  const top = Math.ceil(most / step) * step
  return { step, top, pixels: RIM / top }
}

const text = (x, y, classes, ...words) => draw('text', { x, y, class: classes }, ...words)

function rings ({ step, top, pixels }) {
  const found = [draw('path', { d: `M${MIDDLE} ${MIDDLE - RIM}V${MIDDLE + RIM}M${MIDDLE - RIM} ${MIDDLE}H${MIDDLE + RIM}`, class: 'axis' })]
  for (let speed = step; speed <= top + 1e-9; speed += step) {
    found.push(draw('circle', { cx: MIDDLE, cy: MIDDLE, r: speed * pixels, class: 'ring' }))
    found.push(text(MIDDLE + 3, MIDDLE - speed * pixels + 12, 'speed', `${speed}${speed + step > top + 1e-9 ? ' kn' : ''}`))
    found.push(text(MIDDLE + speed * pixels - 3, MIDDLE + 13, 'speed end', String(speed)))
  }
  return [...found, text(MIDDLE, MIDDLE - RIM - 9, 'rose', 'N')]
}

const path = (points, at) => points.map((each, number) => `${number ? 'L' : 'M'}${at(each).map(one => one.toFixed(1)).join(' ')}`).join('')

function curveLines (curve, number, at) {
  if (!curve.points.length) return []
  const d = path(curve.points, at)
  const classes = `curve ${curve.tack} ${curve.poled ? 'poled' : DASHES[number % DASHES.length]}`
  if (!curve.poled) return [draw('path', { d, class: classes })]
  return [draw('path', { d, class: classes }), draw('path', { d, class: 'curve-gap' }), draw('path', { d, class: `curve-rungs ${curve.tack}` })]
}

function arrow (from, to, classes, head = 9) {
  const [dx, dy] = [to[0] - from[0], to[1] - from[1]]
  const length = Math.hypot(dx, dy)
  if (length < 1) return []
  const [ux, uy] = [dx / length, dy / length]
  const base = [to[0] - ux * head, to[1] - uy * head]
  const wing = side => `${(base[0] - side * uy * head * 0.55).toFixed(1)} ${(base[1] + side * ux * head * 0.55).toFixed(1)}`
  return [
    draw('path', { d: `M${from[0].toFixed(1)} ${from[1].toFixed(1)}L${base[0].toFixed(1)} ${base[1].toFixed(1)}`, class: `${classes} arrow` }),
    draw('path', { d: `M${to[0].toFixed(1)} ${to[1].toFixed(1)}L${wing(1)}L${wing(-1)}Z`, class: `${classes} head` })
  ]
}

/** A word beside the end of an arrow, outwards. */
function beside ([x, y], words, classes, out = 14) {
  const [dx, dy] = [x - MIDDLE, y - MIDDLE]
  const length = Math.hypot(dx, dy) || 1
  const anchor = dx / length > 0.35 ? 'start' : dx / length < -0.35 ? 'end' : 'middle'
  return draw('text', { x: x + dx / length * out, y: y + dy / length * out + 4, 'text-anchor': anchor, class: classes }, words)
}

function chosen (each, at) {
  const end = at(each)
  return [...arrow([MIDDLE, MIDDLE], end, `chosen ${each.tack}`, 12), beside(end, each.steered ?? '', `word ${each.tack}`)]
}

function own (boat, at) {
  if (!known(boat?.east_kn) || !known(boat?.north_kn)) return []
  return arrow([MIDDLE, MIDDLE], at(boat), 'own', 10)
}

function bearing (polar, { pixels }, at) {
  if (!known(polar.bearing_deg)) return []
  const angle = polar.bearing_deg * Math.PI / 180
  const along = radius => [MIDDLE + radius * Math.sin(angle), MIDDLE - radius * Math.cos(angle)]
  const [x, y] = along(RIM)
  const line = draw('path', { d: `M${MIDDLE} ${MIDDLE}L${x.toFixed(1)} ${y.toFixed(1)}`, class: 'bearing' })
  if (!known(polar.made_good_kn)) return [line]
  const ends = polar.chosen.length === 2 ? [draw('path', { d: path(polar.chosen, at), class: 'mix' })] : []
  const [mx, my] = along(polar.made_good_kn * pixels)
  return [line, ...ends, draw('rect', { x: mx - 5, y: my - 5, width: 10, height: 10, class: 'made-good' })]
}

function wind (twd) {
  if (!known(twd)) return null
  return draw('g', { transform: `rotate(${twd} ${MIDDLE} ${MIDDLE})`, class: 'wind-arrow' },
    draw('path', { d: `M${MIDDLE} ${MIDDLE - RIM - 34}V${MIDDLE - RIM + 4}M${MIDDLE - 9} ${MIDDLE - RIM - 12}L${MIDDLE} ${MIDDLE - RIM + 8}L${MIDDLE + 9} ${MIDDLE - RIM - 12}` }))
}

function sample (...shapes) {
  return draw('svg', { viewBox: '0 0 36 14', width: 36, height: 14, 'aria-hidden': 'true' }, ...shapes)
}

const row = (picture, ...words) => make('li', {}, picture, ' ', make('span', {}, ...words))

function keyRows (polar, panel, sets) {
  const line = classes => draw('path', { d: 'M1 7H35', class: classes })
  const rows = sets.map((name, number) => {
    const poled = polar.curves.find(each => each.sail_set === name).poled
    const shapes = poled ? [line('curve poled'), line('curve-gap'), line('curve-rungs')] : [line(`curve ${DASHES[number % DASHES.length]}`)]
    return row(sample(...shapes), name)
  })
  for (const each of polar.chosen) {
    rows.push(row(sample(...arrow([1, 7], [35, 7], `chosen ${each.tack}`, 11)), each.words ?? ''))
  }
  if (known(panel.boat?.east_kn)) rows.push(row(sample(...arrow([1, 7], [35, 7], 'own', 9)), panel.shown?.made ?? ''))
  if (known(polar.bearing_deg)) {
    rows.push(row(sample(line('bearing'), known(polar.made_good_kn) ? draw('rect', { x: 13, y: 2, width: 10, height: 10, class: 'made-good' }) : null),
      polar.shown?.mark ?? ''))
  }
  rows.push(row(sample(draw('path', { d: 'M2 7H26M18 2 32 7 18 12', class: 'wind-sample' })), polar.shown?.wind ?? ''))
  return rows
}
