/** The figures of now, as the engine words them, and how old what they come from is. */

import { byId, make, say } from './dom.js'
import { countDown } from './format.js'

const SOURCES = { position: 'position', wind: 'wind', heading: 'heading', boat_speed: 'log', course: 'course over ground', current: 'stream' }

let keys = ''

export function showFigures (panel) {
  const list = byId('figures')
  const rows = panel.shown?.rows ?? []
  const names = JSON.stringify(rows.map(row => row.key))
  if (rows.length && names !== keys) {
    keys = names
    list.replaceChildren(...rows.map(({ key, label }) => make('div', {}, make('dt', {}, label), make('dd', { id: `figure-${key}` }))))
  }
  for (const { key, value } of rows) say(byId(`figure-${key}`), value)
  // Where the engine says nothing, no old figure stands.
  if (!rows.length) for (const each of list.querySelectorAll('dd')) say(each, '–')
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
