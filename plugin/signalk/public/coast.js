/** The coast under the chart: asked for the view and some more, and again when the view leaves that. */

import { byId, make, say } from './dom.js'
import { ask } from './link.js'
import { wrapped } from './format.js'

const PAUSE_MS = 400
const WIDE_DEG = 15 // of a wider view little more than itself is asked for
const AGAIN_MS = 10_000

export class Coast {
  constructor (map, base, renderer) {
    this.map = map
    this.base = base
    this.renderer = renderer
    this.layer = globalThis.L.layerGroup().addTo(map)
    this.has = null // bounds of what is drawn
    this.count = 0
    this.note = make('div', { class: 'coast-warning' })
    map.getContainer().append(this.note)
    map.on('moveend zoomend resize', () => this.soon(PAUSE_MS))
    this.soon(0)
  }

  soon (ms) {
    clearTimeout(this.timer)
    this.timer = setTimeout(() => this.look(), ms)
  }

  look () {
    if (!this.map.getSize().x) return
    const view = this.map.getBounds()
    const whole = this.has?.contains(view) ?? false
    this.tell(whole ? null : 'Coast not loaded yet')
    if (whole && this.width(this.has) < 6 * this.width(view)) return
    this.fetch(view.pad(this.width(view) > WIDE_DEG ? 0.1 : 0.6))
  }

  /** An empty sea must not pass for deep water. */
  tell (lacking) {
    this.note.classList.toggle('lacking', lacking !== null)
    say(this.note, lacking ?? 'Coast not for navigation')
  }

  width (bounds) {
    return bounds.getEast() - bounds.getWest()
  }

  async fetch (bounds) {
    const number = ++this.count
    const [south, north] = [Math.max(bounds.getSouth(), -85), Math.min(bounds.getNorth(), 85)]
    const all = this.width(bounds) >= 360
    const [west, east] = all ? [-180, 180] : [wrapped(bounds.getWest()), wrapped(bounds.getEast())]
    const wanted = new URLSearchParams(Object.entries({ south, west, north, east }).map(([name, value]) => [name, value.toFixed(4)]))
    try {
      const found = await ask(`${this.base}/coast?${wanted}`, { wait: 20_000 })
      if (number !== this.count) return
      this.draw(found, bounds)
      this.has = bounds
      this.tell(null)
    } catch {
      if (number !== this.count) return
      this.tell('No coast: the server gave none')
      this.soon(AGAIN_MS)
    }
  }

  draw (found, bounds) {
    this.layer.clearLayers()
    for (const feature of found?.features ?? []) {
      for (const rings of polygons(feature.geometry)) this.polygon(rings, bounds)
    }
    const said = [found?.credit, found?.warning].filter(each => typeof each === 'string')
    say(byId('credit'), said.join(' ') || 'Coast: coarse, not for navigation.')
  }

  /** A polygon in each turn of the world in which the chart shows it. */
  polygon (rings, bounds) {
    const lons = rings[0].map(([lon]) => lon)
    const [least, most] = [lons.reduce((a, b) => Math.min(a, b)), lons.reduce((a, b) => Math.max(a, b))]
    for (let turn = Math.ceil((bounds.getWest() - most) / 360); least + 360 * turn <= bounds.getEast(); turn += 1) {
      const points = rings.map(ring => ring.map(([lon, lat]) => [lat, lon + 360 * turn]))
      globalThis.L.polygon(points, { className: 'land', interactive: false, renderer: this.renderer, smoothFactor: 0.7 }).addTo(this.layer)
    }
  }
}

function polygons (geometry) {
  if (geometry?.type === 'Polygon') return [geometry.coordinates]
  if (geometry?.type === 'MultiPolygon') return geometry.coordinates
  return []
}
