/** The figures of now, and how old what they come from is. */

import { byId, make, say } from './dom.js'
import { UNKNOWN, angle, countDown, headingWords, knots, miles, percent, steerWords, threeFigures } from './format.js'

const both = (first, second) => ([first, second].every(each => each === UNKNOWN) ? UNKNOWN : `${first} ${second}`)

/** A speed towards something; the other way in words, as a minus is easily missed. */
const towards = (value, otherwise) => (value < 0 ? `${knots(-value)} ${otherwise}` : knots(value))

const FIGURES = [
  ['wind', 'True wind from', ({ wind }) => both(threeFigures(wind?.twd_deg), knots(wind?.tws_kn))],
  ['twa', 'True wind off the bow', ({ wind, board }) => angle(wind?.twa_deg) + (Number.isFinite(board?.twa_deg) ? `, wanted ${angle(board.twa_deg)}` : '')],
  ['speed', 'Through the water', ({ boat }) => knots(boat?.boat_speed_kn)],
  ['target', 'Wanted speed', ({ figures }) => knots(figures?.target_speed_kn)],
  ['ratio', 'Of her polar speed', ({ figures }) => percent(figures?.speed_ratio)],
  ['heading', 'Heading', ({ boat }) => headingWords(boat?.heading_deg, boat?.heading_magnetic_deg)],
  ['ground', 'Over the ground', ({ boat }) => both(threeFigures(boat?.course_over_ground_deg), knots(boat?.speed_over_ground_kn))],
  ['stream', 'Stream sets', ({ stream }) => (stream?.known ? both(threeFigures(stream.set_deg), knots(stream.drift_kn)) : 'not known')],
  ['mark', 'Next mark bears', ({ route }) => both(steerWords(route?.bearing_deg, route?.bearing_magnetic_deg), miles(route?.distance_nm))],
  ['vmc', 'Made good to the mark', ({ figures }) => towards(figures?.vmc_kn, 'away from it')],
  ['vmg', 'Made good to windward', ({ figures }) => towards(figures?.vmg_kn, 'to leeward')],
  ['layline', 'To the layline', ({ figures }) => both(countDown(figures?.layline_s), miles(figures?.layline_nm))]
]

const SOURCES = { position: 'position', wind: 'wind', heading: 'heading', boat_speed: 'log', course: 'course over ground', current: 'stream' }

export function showFigures (panel) {
  const list = byId('figures')
  if (!list.childElementCount) {
    list.append(...FIGURES.map(([name, label]) => make('div', {}, make('dt', {}, label), make('dd', { id: `figure-${name}` }, UNKNOWN))))
  }
  for (const [name, , write] of FIGURES) say(byId(`figure-${name}`), write(panel))
}

/** How long ago each was last heard; `since` seconds have passed since the server told so. */
export function showAges (ages, since) {
  say(byId('ages'), agesWords(ages, since))
}

/** The oldest first: that is the one to look after. */
export function agesWords (ages, since) {
  const told = Object.entries(ages ?? {}).filter(([, age]) => Number.isFinite(age)).sort(([, one], [, other]) => other - one)
  const words = told.map(([name, age]) => `${SOURCES[name] ?? name} ${countDown(age + since)}`)
  return words.length ? `Last heard, minutes and seconds ago: ${words.join(', ')}.` : ''
}

