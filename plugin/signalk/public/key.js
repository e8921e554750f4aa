/** The key of the chart's lines. */

import { draw, make } from './dom.js'

const line = classes => draw('path', { d: 'M1 7H43', class: classes })
const sample = (...shapes) => draw('svg', { viewBox: '0 0 44 14', width: 44, height: 14, 'aria-hidden': 'true' }, ...shapes)

const ROWS = [
  [() => [line('board port')], 'port tack'],
  [() => [line('board starboard')], 'starboard tack'],
  [() => [line('poled-rails plain'), line('poled-gap'), line('poled-rungs plain')], 'pole set'],
  [() => [line('layline port')], 'port layline'],
  [() => [line('layline starboard')], 'starboard layline'],
  [() => [line('course')], 'her next 10 min']
]

export function drawKey (list) {
  list.replaceChildren(...ROWS.map(([shapes, words]) => make('li', {}, sample(...shapes()), ' ', words)))
}
