/** The chart: coast, marks, boards, turning points, laylines and the boat, on Leaflet (global L). */

import { byId, draw, make, say } from './dom.js'
import { gridWords, near, position, wrapped } from './format.js'
import { Coast } from './coast.js'
import { Labels } from './labels.js'

const TRACK_MS = 3000
const TRACK_MOST = 7200 // six hours
const GRID_MIN = [0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 1200] // minutes of arc
const BARS_NM = [0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500]

const known = value => typeof value === 'number' && Number.isFinite(value)

export class Chart {
  constructor (element, base) {
    const still = matchMedia('(prefers-reduced-motion: reduce)').matches
    const L = globalThis.L
    this.map = L.map(element, {
      attributionControl: false,
      zoomControl: false,
      zoomSnap: 0.5,
      zoomDelta: 1,
      minZoom: 5,
      maxZoom: 17,
      zoomAnimation: !still,
      fadeAnimation: false,
      inertia: !still
    }).setView([56.7, 12], 8)
    L.control.zoom({ position: 'topleft' }).addTo(this.map)
    for (const [name, level] of [['land', 200], ['grid', 250], ['boat', 650]]) this.map.createPane(name).style.zIndex = level
    this.renderers = Object.fromEntries(['land', 'grid', 'overlayPane'].map(pane => [pane, L.svg({ pane, padding: 0.5 })]))
    this.layers = Object.fromEntries(['grid', 'track', 'plan', 'lines', 'places', 'boat'].map(name => [name, L.layerGroup().addTo(this.map)]))
    this.coast = new Coast(this.map, base, this.renderers.land)
    this.labels = new Labels(this.map)
    this.reference = 12 // the longitude about which all others are unwrapped
    this.plan = null
    this.boatAt = null
    this.following = false
    this.astern = []
    this.tracked = null
    this.up = null
    this.upWanted = false
    this.lastBoat = null
    this.lastPanel = null
    this.placed = false
    this.provisional = false // placed by the marks alone, before the plan had come
    this.furnish(element)
    this.map.on('move', () => this.edges())
    this.map.on('resize', () => this.centred())
    this.map.on('moveend resize', () => this.grid())
    this.map.on('dragstart', () => {
      this.provisional = false
      this.follow(false)
    })
    this.map.on('mousemove', ({ latlng }) => this.read('Pointer', latlng))
    this.map.on('mouseout move', () => this.read('Centre', this.map.getCenter()))
    element.addEventListener('keydown', ({ key }) => { if (key.startsWith('Arrow')) this.follow(false) })
    new ResizeObserver(() => this.map.invalidateSize({ animate: false })).observe(element)
    this.grid()
    this.read('Centre', this.map.getCenter())
  }

  furnish (element) {
    this.bar = make('div', { class: 'scale-bar', 'aria-hidden': 'true' }, make('span'))
    this.ticks = make('div', { class: 'grid-words', 'aria-hidden': 'true' })
    this.airs = make('div', { class: 'airs' })
    element.append(this.ticks, this.bar, this.airs)
  }

  /** A place as Leaflet wants it, unwrapped about the reference. */
  at ({ lat, lon }) {
    return [lat, near(lon, this.reference)]
  }

  /** A line of places, each within half a turn of the one before. */
  line (points) {
    let last = this.reference
    return points.map(({ lat, lon }) => {
      last = near(lon, last)
      return [lat, last]
    })
  }

  stroke (layer, points, classes, options = {}) {
    return globalThis.L.polyline(points, {
      className: classes, interactive: false, renderer: this.renderers.overlayPane, smoothFactor: 0.5, ...options
    }).addTo(layer)
  }

  // ---- what is planned ---------------------------------------------------------------------

  setPlan (plan) {
    this.plan = plan
    if (plan) this.refer(plan.legs[0]?.boards[0]?.start.lon)
    this.drawPlan()
    if (plan && (!this.placed || this.provisional)) this.seePlan()
  }

  /** Move the reference only far from where it is, and then everything drawn with it. */
  refer (lon) {
    if (!known(lon) || Math.abs(wrapped(lon - this.reference)) < 60) return
    this.reference = lon
    this.panelKey = null
  }

  drawPlan () {
    this.layers.plan.clearLayers()
    this.labels.set('boards', [])
    this.labels.set('turns', [])
    this.drawn = null
    if (!this.plan) return
    const words = []
    const shown = this.plan.shown ?? { boards: [], turns: [] }
    this.plan.legs.forEach((leg, number) => leg.boards.forEach((board, index) => {
      const here = number === 0 && index === this.present
      words.push(this.board(board, shown.boards[number]?.[index] ?? '', here, number === 0 && index < this.present))
    }))
    this.labels.set('boards', words.filter(Boolean))
    for (const turn of shown.turns) this.symbol(this.layers.plan, turn, 'turn', draw('path', { d: 'M12 3 21 12 12 21 3 12z' }))
    this.labels.set('turns', shown.turns.map(turn => ({ at: this.at(turn), text: turn.name, classes: 'tag turn-tag', rank: 2 })))
  }

  board (board, words, present, past) {
    const points = this.line(board.points?.length ? board.points : [board.start, board.end])
    const classes = name => `${name} ${board.tack}${present ? ' present' : ''}${past ? ' past' : ''}`
    if (board.poled) {
      this.stroke(this.layers.plan, points, classes('poled-rails'))
      this.stroke(this.layers.plan, points, classes('poled-gap'))
      this.stroke(this.layers.plan, points, classes('poled-rungs'))
    } else {
      this.stroke(this.layers.plan, points, classes('board-edge'))
      this.stroke(this.layers.plan, points, classes('board'))
    }
    const middle = points.length > 2 ? points[Math.floor(points.length / 2)] : points[0].map((each, axis) => (each + points.at(-1)[axis]) / 2)
    return { at: middle, span: [points[0], points.at(-1)], along: true, text: words, classes: `tag board-tag ${board.tack}`, rank: 4, optional: true }
  }

  symbol (layer, place, name, shape, size = 24) {
    const picture = draw('svg', { viewBox: '0 0 24 24', width: size, height: size, 'aria-hidden': 'true' }, shape)
    const icon = globalThis.L.divIcon({ html: picture, className: `symbol ${name}`, iconSize: [size, size], iconAnchor: [size / 2, size / 2] })
    return globalThis.L.marker(this.at(place), { icon, interactive: false, keyboard: false }).addTo(layer)
  }

  // ---- what is now -------------------------------------------------------------------------

  setPanel (panel) {
    if (this.present !== (panel.board?.index ?? null)) {
      this.present = panel.board?.index ?? null
      this.drawPlan()
    }
    if (known(panel.boat?.lat) && known(panel.boat?.lon)) this.refer(panel.boat.lon)
    // Another route is another chart; the same one, planned anew, stays where the crew has put it.
    const route = panel.route?.id ?? null
    if (route !== null && route !== this.routeId) this.placed = false
    this.routeId = route ?? this.routeId
    this.route(panel)
    this.boat(panel.boat)
    this.lastPanel = panel
    this.upright(panel.boat)
    this.wind(panel)
    this.track(panel.boat)
    this.buttons()
  }

  route (panel) {
    const key = JSON.stringify([panel.laylines, panel.route?.marks, panel.route?.next, this.reference])
    if (key === this.panelKey) return
    this.panelKey = key
    this.layers.lines.clearLayers()
    this.layers.places.clearLayers()
    const marks = panel.route?.marks ?? this.plan?.marks ?? []
    if (marks.length > 1) this.stroke(this.layers.lines, this.line(marks), 'rhumb')
    const lines = panel.laylines ?? []
    for (const each of lines) this.stroke(this.layers.lines, this.line(each.points), `layline ${each.tack}`)
    this.labels.set('laylines', lines.map(each => {
      const points = this.line(each.points)
      return { at: points[0].map((one, axis) => one * 0.45 + points.at(-1)[axis] * 0.55), span: [points[0], points.at(-1)], along: true, text: `${each.tack} layline`, classes: `tag layline-tag ${each.tack}`, rank: 5, optional: true }
    }))
    for (const mark of marks) {
      const next = mark.name === panel.route?.next
      const ring = [draw('circle', { cx: 12, cy: 12, r: 8 }), draw('circle', { cx: 12, cy: 12, r: 2.5, class: 'dot' })]
      this.symbol(this.layers.places, mark, next ? 'mark next-mark' : 'mark', draw('g', {}, ...ring, next ? draw('path', { d: 'M12 0v4M12 20v4M0 12h4M20 12h4' }) : null))
    }
    this.labels.set('marks', marks.map(mark => ({ at: this.at(mark), text: mark.name, classes: 'tag mark-tag', rank: 1 })))
    if (!this.placed && marks.length && !this.plan) {
      this.seePlan()
      this.provisional = true
    }
  }

  boat (boat) {
    this.layers.boat.clearLayers()
    this.boatAt = known(boat?.lat) && known(boat?.lon) ? this.at(boat) : null
    this.labels.keepClear(this.boatAt)
    if (!this.boatAt) return
    if (boat.ahead) {
      const end = this.at(boat.ahead)
      this.stroke(this.layers.boat, [this.boatAt, end], 'course-edge')
      this.stroke(this.layers.boat, [this.boatAt, end], 'course')
      globalThis.L.circleMarker(end, { radius: 3, className: 'course-end', interactive: false, renderer: this.renderers.overlayPane }).addTo(this.layers.boat)
    }
    this.layers.boat.addLayer(this.hull(boat))
    if (!this.placed && !this.boatSeen) this.seeBoat(false)
    else if (this.up !== null) this.map.setView(this.boatAt, this.map.getZoom(), { animate: false })
    else if (this.following) this.keepInSight()
  }

  hull (boat) {
    const heading = boat.heading_deg ?? null
    const shape = heading === null
      ? draw('circle', { cx: 0, cy: 0, r: 10, class: 'hull' })
      : draw('g', { transform: `rotate(${heading})` }, draw('path', { d: 'M0-16V-58', class: 'heading-line' }), draw('path', { d: 'M0-20C8-8 9 4 6 16H-6C-9 4-8-8 0-20z', class: 'hull' }))
    const picture = draw('svg', { viewBox: '-60 -60 120 120', width: 120, height: 120, 'aria-hidden': 'true' }, shape)
    const icon = globalThis.L.divIcon({ html: picture, className: 'symbol boat', iconSize: [120, 120], iconAnchor: [60, 60] })
    return globalThis.L.marker(this.boatAt, { icon, interactive: false, keyboard: false, pane: 'boat' })
  }

  wind ({ wind, stream, shown }) {
    const key = JSON.stringify([wind, stream, this.up])
    if (key === this.airsKey) return
    this.airsKey = key
    const rows = []
    if (this.up !== null) rows.push(this.arrow(0, 'north', 'North', 'N'))
    if (known(wind?.twd_deg)) rows.push(this.arrow(wind.twd_deg + 180, 'wind', 'True wind', shown?.wind ?? ''))
    if (stream?.known && known(stream.set_deg) && stream.drift_kn >= 0.05) rows.push(this.arrow(stream.set_deg, 'stream', 'Stream sets', shown?.stream ?? ''))
    this.airs.replaceChildren(...rows)
  }

  arrow (direction, name, label, text) {
    const towards = direction - (this.up ?? 0)
    const shape = name === 'wind'
      ? draw('path', { d: 'M0-16V10M-7 2 0 16 7 2', class: 'shaft', transform: `rotate(${towards + 180})` })
      : draw('path', { d: 'M0 16V-10M-6-4 0-14 6-4M-6 4 0-6 6 4', class: 'shaft', transform: `rotate(${towards})` })
    return make('p', { class: `air ${name}` }, draw('svg', { viewBox: '-20 -20 40 40', width: 36, height: 36, 'aria-hidden': 'true' }, shape), make('span', {}, make('small', {}, label), ' ', text))
  }

  // ---- her track, and course up --------------------------------------------------------------

  /** Where she has been since the page was opened: a place every few seconds, the newest hours. */
  track (boat) {
    if (!this.boatAt) return
    const now = performance.now()
    if (this.tracked && now - this.tracked < TRACK_MS) return
    this.tracked = now
    this.astern.push({ lat: boat.lat, lon: boat.lon })
    if (this.astern.length > TRACK_MOST) this.astern.splice(0, this.astern.length - TRACK_MOST)
    this.layers.track.clearLayers()
    if (this.astern.length > 1) this.stroke(this.layers.track, this.line(this.astern), 'track')
  }

  turnUp () {
    this.upWanted = !this.upWanted
    byId('course-up').setAttribute('aria-pressed', String(this.upWanted))
    if (this.upWanted) this.seeBoat(true)
    this.upright(this.lastBoat)
    if (this.lastPanel) this.wind(this.lastPanel)
  }

  /** Turn the picture so that her course points up; what is read stays upright. */
  upright (boat) {
    this.lastBoat = boat
    const course = boat?.course_over_ground_deg ?? boat?.heading_deg ?? null
    const up = this.upWanted && known(course) ? course : null
    if (up === this.up) return
    this.up = up
    const element = this.map.getContainer()
    element.classList.toggle('turned', up !== null)
    element.style.setProperty('--up', `${-(up ?? 0)}deg`)
    this.map.dragging[up === null ? 'enable' : 'disable']()
    this.centred()
  }

  /** It turns about the middle of the chart, wherever that is now; there she is. */
  centred () {
    const { x, y } = this.map.getSize()
    this.map.getContainer().style.setProperty('--middle', `${x / 2}px ${y / 2}px`)
    if (this.up !== null && this.boatAt) this.map.setView(this.boatAt, this.map.getZoom(), { animate: false })
  }

  // ---- what is seen ------------------------------------------------------------------------

  seePlan () {
    const legs = this.plan?.legs ?? []
    const ends = legs.flatMap(leg => leg.boards.flatMap(board => this.line(board.points?.length ? board.points : [board.start, board.end])))
    const all = [...ends, ...this.layers.places.getLayers().map(each => each.getLatLng()), ...(this.boatAt ? [this.boatAt] : [])]
    if (!all.length) return
    this.placed = true
    this.provisional = false
    this.follow(false)
    this.map.fitBounds(globalThis.L.latLngBounds(all), { ...this.margins(), maxZoom: 15 })
  }

  /** Room for what lies over the chart's edges. */
  margins () {
    const wide = this.map.getSize().x > 600
    return { paddingTopLeft: wide ? [90, 60] : [66, 96], paddingBottomRight: wide ? [190, 50] : [40, 50] }
  }

  seeBoat (follow = true) {
    if (!this.boatAt) return
    this.boatSeen = true
    const zoom = this.placed ? Math.max(this.map.getZoom(), 11) : 11
    if (follow) this.placed = true
    this.map.setView(this.boatAt, zoom)
    this.follow(follow)
  }

  /** What can't be seen can't be asked for. */
  buttons () {
    byId('see-plan').disabled = !this.plan && !this.layers.places.getLayers().length
    byId('see-boat').disabled = !this.boatAt
  }

  follow (following) {
    this.following = following
    byId('see-boat').setAttribute('aria-pressed', String(following))
  }

  keepInSight () {
    const [size, spot] = [this.map.getSize(), this.map.latLngToContainerPoint(this.boatAt)]
    const inside = Math.abs(spot.x / size.x - 0.5) < 0.25 && Math.abs(spot.y / size.y - 0.5) < 0.25
    if (!inside) this.map.panTo(this.boatAt)
  }

  read (what, { lat, lng }) {
    say(byId('readout'), `${what} ${position(lat, wrapped(lng))}`)
  }

  // ---- grid and scale ------------------------------------------------------------------------

  /** Pixels of a minute of latitude, and of longitude, in the middle of the chart. */
  minutePixels () {
    const centre = this.map.getCenter()
    const [here, north, east] = [[0, 0], [1 / 60, 0], [0, 1 / 60]].map(([lat, lon]) => this.map.project([centre.lat + lat, centre.lng + lon]))
    return [here.distanceTo(north), here.distanceTo(east)]
  }

  grid () {
    const bounds = this.map.getBounds().pad(0.4)
    const steps = this.minutePixels().map(pixels => (GRID_MIN.find(step => step * pixels > 110) ?? GRID_MIN.at(-1)) / 60)
    this.steps = steps
    this.layers.grid.clearLayers()
    const line = points => globalThis.L.polyline(points, { className: 'grid', interactive: false, renderer: this.renderers.grid }).addTo(this.layers.grid)
    for (const lat of between(Math.max(bounds.getSouth(), -85), Math.min(bounds.getNorth(), 85), steps[0])) line([[lat, bounds.getWest()], [lat, bounds.getEast()]])
    for (const lon of between(bounds.getWest(), bounds.getEast(), steps[1])) line([[bounds.getSouth(), lon], [bounds.getNorth(), lon]])
    this.edges()
  }

  edges () {
    const size = this.map.getSize()
    if (!this.steps || !size.x) return
    const bounds = this.map.getBounds()
    const words = []
    for (const lat of between(bounds.getSouth(), bounds.getNorth(), this.steps[0])) {
      const y = this.map.latLngToContainerPoint([lat, bounds.getWest()]).y
      if (y > 110 && y < size.y - 60) words.push(placed(make('span', { class: 'lat' }, gridWords(lat, 'lat')), 'top', y))
    }
    for (const lon of between(bounds.getWest(), bounds.getEast(), this.steps[1])) {
      const x = this.map.latLngToContainerPoint([bounds.getNorth(), lon]).x
      if (x > 140 && x < size.x - 190) words.push(placed(make('span', { class: 'lon' }, gridWords(wrapped(lon), 'lon')), 'left', x))
    }
    this.ticks.replaceChildren(...words)
    this.scale()
  }

  scale () {
    const [pixels] = this.minutePixels()
    const nm = BARS_NM.filter(each => each * pixels <= 150).at(-1) ?? BARS_NM[0]
    this.bar.firstChild.textContent = `${nm} nm`
    this.bar.style.width = `${nm * pixels}px`
  }
}

function placed (element, side, pixels) {
  element.style[side] = `${pixels}px`
  return element
}

function between (least, most, step) {
  const first = Math.ceil(least / step - 1e-9)
  return Array.from({ length: Math.max(Math.floor(most / step + 1e-9) - first + 1, 0) }, (_, number) => (first + number) * step)
}
