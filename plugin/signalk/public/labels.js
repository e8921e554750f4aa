/** Names on the chart, laid out so that none covers another; the less needful give way. */

import { make } from './dom.js'

const GAP = 14
const FAR = 8 // pixels the boat moves before the names make room
const DELAY_MS = 30

export class Labels {
  constructor (map) {
    this.map = map
    this.pane = map.createPane('words')
    this.pane.style.zIndex = 630
    this.sets = new Map()
    this.clear = null
    this.cleared = null
    map.on('zoomstart', () => { this.pane.hidden = true })
    map.on('zoomend moveend resize', () => this.soon())
  }

  /** Replace a set of `{at, text, classes, rank, optional, span}`. */
  set (name, labels) {
    this.sets.set(name, labels.map(label => ({ ...label, element: make('span', { class: label.classes }, make('span', { class: 'upright' }, label.text)) })))
    this.soon()
  }

  keepClear (at) {
    this.clear = at
    const spot = at && this.map.latLngToLayerPoint(at)
    const moved = (spot === null) !== (this.cleared === null) || (spot && spot.distanceTo(this.cleared) > FAR)
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
    this.lines = all.filter(label => label.along).map(label => ({ label, ends: label.span.map(spot) }))
    const taken = all.filter(label => !label.optional).map(label => around(spot(label.at), 10))
    this.cleared = this.clear && spot(this.clear)
    if (this.clear) taken.push(around(spot(this.clear), 18))
    taken.push(...this.furniture())
    for (const label of all) this.place(label, spot, taken)
  }

  /** What lies over the chart, in the pane's own pixels. */
  furniture () {
    const room = this.map.getContainer()
    const { left, top } = room.getBoundingClientRect()
    const shift = this.map.containerPointToLayerPoint([0, 0])
    return [...room.parentElement.querySelectorAll('.airs, #chart-buttons, .leaflet-control-zoom, .scale-bar, .grid-words span')].map(each => {
      const box = each.getBoundingClientRect()
      return [box.left - left + shift.x, box.top - top + shift.y, box.right - left + shift.x, box.bottom - top + shift.y]
    })
  }

  /** The part of the pane that is in sight. */
  sight () {
    const [least, size] = [this.map.containerPointToLayerPoint([0, 0]), this.map.getSize()]
    return [least.x, least.y, least.x + size.x, least.y + size.y]
  }

  place (label, spot, taken) {
    const { x, y } = spot(label.at)
    const [width, height] = label.size
    const sight = this.sight()
    const own = label.along && label.span.map(spot)
    const boxes = own ? beside(own, width, height) : sides(x, y, width, height)
    const strangers = own ? this.lines.filter(line => line.label !== label) : []
    const free = boxes.find(box => within(box, sight) && taken.every(other => apart(box, other)) && strangers.every(line => belongs(box, own, line.ends)))
    const tooShort = label.span && spot(label.span[0]).distanceTo(spot(label.span[1])) < width * 0.8
    const hidden = Boolean(label.optional && (!free || tooShort))
    label.element.classList.toggle('no-room', hidden)
    if (hidden) return
    const box = free ?? leastCovered(boxes, taken, sight)
    taken.push(box)
    globalThis.L.DomUtil.setPosition(label.element, globalThis.L.point(Math.round(box[0]), Math.round(box[1])))
  }
}

const around = ({ x, y }, half) => [x - half, y - half, x + half, y + half]

const within = (one, other) => one[0] >= other[0] && one[1] >= other[1] && one[2] <= other[2] && one[3] <= other[3]

const apart = (one, other) => one[2] < other[0] || other[2] < one[0] || one[3] < other[1] || other[3] < one[1]

/** Places beside a line, along it: a word must not stand at another line than its own. */
function beside ([from, to], width, height) {
  const [dx, dy] = [to.x - from.x, to.y - from.y]
  const length = Math.hypot(dx, dy) || 1
  const [nx, ny] = [-dy / length, dx / length]
  // As far off as the box reaches towards the line, and a hair more.
  const off = Math.abs(nx) * width / 2 + Math.abs(ny) * height / 2 + 4
  return [0.5, 0.38, 0.62, 0.27, 0.73].flatMap(share => [1, -1].map(side => {
    const [x, y] = [from.x + dx * share + side * off * nx, from.y + dy * share + side * off * ny]
    return [x - width / 2, y - height / 2, x + width / 2, y + height / 2]
  }))
}

/** Whether a box lies nearer to its own line than to another. */
function belongs (box, own, other) {
  const middle = { x: (box[0] + box[2]) / 2, y: (box[1] + box[3]) / 2 }
  return distanceTo(middle, own) + 4 < distanceTo(middle, other)
}

function distanceTo ({ x, y }, [from, to]) {
  const [dx, dy] = [to.x - from.x, to.y - from.y]
  const share = Math.min(Math.max(((x - from.x) * dx + (y - from.y) * dy) / (dx * dx + dy * dy || 1), 0), 1)
  return Math.hypot(x - from.x - share * dx, y - from.y - share * dy)
}

function leastCovered (boxes, taken, sight) {
  const covered = boxes.map(box => shared(box, box) - shared(box, sight) + taken.reduce((sum, other) => sum + shared(box, other), 0))
  return boxes[covered.indexOf(Math.min(...covered))]
}

function shared (one, other) {
  const [wide, high] = [0, 1].map(axis => Math.min(one[axis + 2], other[axis + 2]) - Math.max(one[axis], other[axis]))
  return wide > 0 && high > 0 ? wide * high : 0
}

function sides (x, y, width, height) {
  const corners = [
    [x + GAP, y - height / 2], [x - GAP - width, y - height / 2],
    [x - width / 2, y - GAP - height], [x - width / 2, y + GAP],
    [x + GAP, y - GAP - height], [x + GAP, y + GAP], [x - GAP - width, y - GAP - height], [x - GAP - width, y + GAP],
    [x - width / 2, y + 2 * GAP], [x - width / 2, y - 2 * GAP - height]
  ]
  return corners.map(([left, top]) => [left, top, left + width, top + height])
}
