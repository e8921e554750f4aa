'use strict'

/**
 * The route the crew has asked for, kept over a restart of plugin or host: the host itself knows only
 * the one that is active. Written whole or not at all; what can't be read counts as nothing.
 */

const fs = require('node:fs')
const path = require('node:path')

const LASTS_MS = 24 * 3600 * 1000 // a route left a day ago is another passage

class Kept {
  /** `folder`: where it lies, null where the host has no place for it. */
  constructor (folder, tell) {
    this.file = folder ? path.join(folder, 'asked.json') : null
    this.tell = tell
  }

  /** `{routeId, next, reverse, fromHere}` as it was kept, or null. */
  read () {
    try {
      const { time, routeId, next, reverse, fromHere } = JSON.parse(fs.readFileSync(this.file, 'utf8'))
      const age = Date.now() - Date.parse(time)
      const sound = typeof routeId === 'string' && Number.isInteger(next) && next >= 0
      return sound && age >= 0 && age < LASTS_MS ? { routeId, next, reverse: reverse === true, fromHere: fromHere !== false } : null
    } catch {
      return null
    }
  }

  /** Keep an order that was asked for; null, or one that the host's course has set, leaves nothing. */
  write (order) {
    if (!this.file) return
    try {
      if (order?.origin !== 'asked') return fs.rmSync(this.file, { force: true })
      const { routeId, reverse, fromHere } = order
      const kept = { time: new Date().toISOString(), routeId, next: order.reached ?? order.next, reverse, fromHere }
      fs.writeFileSync(`${this.file}.new`, `${JSON.stringify(kept)}\n`)
      fs.renameSync(`${this.file}.new`, this.file)
    } catch (error) {
      this.tell(`what is asked for can't be kept for a restart: ${error.message}`)
    }
  }
}

module.exports = { Kept }
