'use strict'

/**
 * What a display under way is shown: the engine's own document of this second, or, where the engine
 * can't say, one of nulls. An old figure never passes for a new one.
 */

const SILENT_TICKS = 5
const EVENTS_SHOWN = 8

const nulls = names => Object.fromEntries(names.map(name => [name, null]))

const blank = () => ({
  format: 'goosewing.panel/1',
  time: null,
  ages_s: nulls(['position', 'wind', 'heading', 'boat_speed', 'course', 'current']),
  boat: nulls(['lat', 'lon', 'heading_deg', 'heading_magnetic_deg', 'course_over_ground_deg', 'speed_over_ground_kn', 'boat_speed_kn', 'east_kn', 'north_kn', 'tack', 'ahead']),
  wind: nulls(['twd_deg', 'tws_kn', 'twa_deg', 'awa_deg', 'aws_kn']),
  stream: { set_deg: null, drift_kn: null, known: false, doubt_kn: null },
  route: null,
  next: null,
  board: null,
  figures: nulls(['vmg_kn', 'vmc_kn', 'target_twa_deg', 'target_speed_kn', 'polar_speed_kn', 'speed_ratio', 'layline_nm', 'layline_s']),
  laylines: [],
  polar: null,
  cautions: ['Not for sole navigation.'],
  shown: null
})

// Counted on from the time of the start, so that none comes again after a restart of engine or host.
let count = Date.now()

class Panel {
  constructor () {
    this.last = null
    this.polar = null
    this.ticks = 0
    this.planned = { plan: null, number: null }
  }

  /** The engine's panel of this second. */
  take ({ type, ...document }) {
    this.last = document
    this.ticks = 0
    if (!document.polar) this.polar = null
  }

  /** The engine's polar, when it has changed. */
  draw ({ type, ...document }) {
    this.polar = { ...document, number: ++count }
  }

  /** A second has passed. */
  age () {
    this.ticks += 1
  }

  number (plan) {
    if (plan !== this.planned.plan) this.planned = { plan, number: ++count }
    return plan ? { number: this.planned.number } : null
  }

  /** `known`: what the plugin itself knows. */
  document ({ state, message, events, plan, activated }, running) {
    const shown = events.slice(-EVENTS_SHOWN).reverse().map(({ time, kind, state, message }) => ({ time, kind, state, message }))
    const own = { events: shown, plan: this.number(plan), activated }
    const silent = this.ticks > SILENT_TICKS
    if (running && this.last && !silent) {
      return { ...this.last, message, polar: this.polar && { number: this.polar.number }, ...own }
    }
    if (running && silent) return { ...blank(), state: 'failed', message: `the engine has been silent for ${this.ticks} s`, ...own }
    return { ...blank(), state: state === 'failed' ? 'failed' : 'waiting', message, ...own }
  }
}

module.exports = { Panel }
