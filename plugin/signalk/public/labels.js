/** Names on the chart, laid out so that none covers another; the less needful give way. */

import { make } from './dom.js'

const GAP = 14
const DELAY_MS = 30

export class Labels {
  constructor (map) {
    this.map = map
    this.pane = map.createPane('words')
    this.pane.style.zIndex = 630
    this.sets = new Map()
    this.clear = null
    map.on('zoomstart', () => { this.pane.hidden = true })
    map.on('zoomend moveend resize', () => this.soon())
  }

  /** Replace a set of `{at, text, classes, rank, optional, span}`. */
  set (name, labels) {
    this.sets.set(name, labels.map(label => ({ ...label, element: make('span', { class: label.classes }, label.text) })))
    this.soon()
  }

  keepClear (at) {
    const moved = (at === null) !== (this.clear === null)
    this.clear = at
    if (moved) this.soon()
  }

  soon () {
    clearTimeout(this.timer)
    this.timer = setTimeout(() => this.lay(), DELAY_MS)
  }

  lay () {
    this.pane.hidden = false
    const all = [...this.sets.values()].flat().sort((one, other) => one.rank - other.rank)
    this.pane.replaceChildren(...all.map(label => label.element))
    for (const label of all) label.size = [label.element.offsetWidth, label.element.offsetHeight]
    const spot = at => this.map.latLngToLayerPoint(at)
    const taken = all.filter(label => !label.optional).map(label => around(spot(label.at), 10))
    if (this.clear) taken.push(around(spot(this.clear), 18))
    for (const label of all) this.place(label, spot, taken)
  }

  place (label, spot, taken) {
    const { x, y } = spot(label.at)
    const [width, height] = label.size
    const boxes = sides(x, y, width, height)
    const free = boxes.find(box => taken.every(other => apart(box, other)))
    const tooShort = label.span && spot(label.span[0]).distanceTo(spot(label.span[1])) < width * 0.8
    const hidden = Boolean(label.optional && (!free || tooShort))
    label.element.classList.toggle('no-room', hidden)
    if (hidden) return
    const box = free ?? boxes[0]
    taken.push(box)
    globalThis.L.DomUtil.setPosition(label.element, globalThis.L.point(Math.round(box[0]), Math.round(box[1])))
  }
}

const around = ({ x, y }, half) => [x - half, y - half, x + half, y + half]

const apart = (one, other) => one[2] < other[0] || other[2] < one[0] || one[3] < other[1] || other[3] < one[1]

function sides (x, y, width, height) {
  const corners = [
    [x + GAP, y - height / 2], [x - GAP - width, y - height / 2],
    [x - width / 2, y - GAP - height], [x - width / 2, y + GAP],
    [x + GAP, y - GAP - height], [x + GAP, y + GAP], [x - GAP - width, y - GAP - height], [x - GAP - width, y + GAP]
  ]
  return corners.map(([left, top]) => [left, top, left + width, top + height])
}
