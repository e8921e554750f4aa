'use strict'

/**
 * What the plugin has on show in the host: resources, live values and notifications, all its own.
 *
 * The resources live here in memory, in providers of the plugin's own, beside those that keep the
 * user's routes: they vanish when the plugin stops, and no file of the user's is ever written.
 */

const KINDS = ['routes', 'waypoints', 'notes', 'laylines', 'regions']

// What may be published as data. Everything else is refused: a value on a measured path would
// stand in for the instrument's, and one on a course or steering path could turn the boat.
const OPEN_PATHS = /^(performance\.|navigation\.racing\.|navigation\.leewayAngle$|navigation\.goosewing\.)[A-Za-z0-9.]*$/

const ALERT_TICKS = 60

const METHODS = {
  off: () => null,
  seen: () => ['visual'],
  heard: state => (state === 'warn' ? ['visual', 'sound'] : ['visual'])
}

const same = (one, other) => JSON.stringify(one) === JSON.stringify(other)
const key = (kind, id) => `${kind}/${id}`

class Shelf {
  constructor (app, id, publish) {
    this.app = app
    this.id = id
    this.publish = publish
    this.resources = new Map() // key -> {kind, id, value, since}
    this.kept = new Map() // key -> the newest value, for a route the crew is following as it was
    this.live = new Map() // path -> value, null once withdrawn
    this.raised = new Map() // kind -> ticks left, Infinity for what must be ended
    this.leaving = new Set()
    this.refused = new Set()
    this.faults = 0
    this.queue = Promise.resolve()
  }

  open () {
    for (const kind of KINDS) this.app.registerResourceProvider({ type: kind, methods: this.provider(kind) })
  }

  provider (kind) {
    const found = id => {
      const entry = this.resources.get(key(kind, id))
      // An error, not nothing: else the host would take us for the keeper of a user's resource.
      if (!entry) throw new Error(`no ${kind} ${id} of Goosewing`)
      return entry
    }
    return {
      listResources: async () => Object.fromEntries(this.of(kind).map(entry => [entry.id, this.shown(entry)])),
      getResource: async (id, property) => (property ? part(this.shown(found(id)), property) : this.shown(found(id))),
      setResource: async (id, value) => {
        if (!same(this.resources.get(key(kind, id))?.value, value)) throw new Error(`Goosewing replaces ${kind} ${id} itself: copy it to change it`)
      },
      deleteResource: async id => {
        if (!this.leaving.has(key(kind, id))) throw new Error(`Goosewing replaces ${kind} ${id} itself: clear the plan to be rid of it`)
      }
    }
  }

  of (kind) {
    return [...this.resources.values()].filter(entry => entry.kind === kind)
  }

  has (kind, id) {
    return this.resources.has(key(kind, id))
  }

  get (kind, id) {
    return this.resources.get(key(kind, id))?.value
  }

  shown (entry) {
    return { ...entry.value, timestamp: entry.since, $source: this.id }
  }

  wanted (kind, value) {
    const line = kind === 'laylines' || value?.feature?.properties?.role === 'layline'
    return line ? this.publish.laylines : this.publish.plan
  }

  /** Put each `{kind, id, value}` on show, or take it away where the value is null; in order. */
  set (resources, followed) {
    this.queue = this.queue.then(async () => {
      for (const { kind, id, value } of resources) await this.place(kind, id, value, followed)
    })
    return this.queue
  }

  async place (kind, id, value, followed) {
    if (!KINDS.includes(kind) || typeof id !== 'string' || !id) return this.refuse(`a resource of kind ${kind}`)
    if (kind === 'routes' && id === followed) {
      // The host moves the active course along with its route. What she steers by changes only by the crew's hand.
      this.kept.set(key(kind, id), value)
      return
    }
    this.kept.delete(key(kind, id))
    if (value === null || value === undefined) await this.remove(kind, id)
    else if (this.wanted(kind, value)) await this.add(kind, id, value)
  }

  async add (kind, id, value) {
    const name = key(kind, id)
    const before = this.resources.get(name)
    if (before && same(before.value, value)) return
    this.resources.set(name, { kind, id, value, since: new Date().toISOString() })
    // Through the host, so that every display hears of it; it also refuses what the standard does not allow.
    await this.app.resourcesApi.setResource(kind, id, value, this.id).catch(error => {
      this.resources.delete(name)
      this.fault(`${kind} ${id}: ${error.message}`)
    })
  }

  async remove (kind, id) {
    const name = key(kind, id)
    if (!this.resources.has(name)) return
    this.leaving.add(name)
    await this.app.resourcesApi.deleteResource(kind, id, this.id).catch(error => this.fault(error.message))
    this.leaving.delete(name)
    this.resources.delete(name)
  }

  /** Take away everything on show but what `stays` names (a set of keys) and the route being followed. */
  empty (followed, stays = new Set()) {
    const gone = [...this.resources.values()].filter(entry => !stays.has(key(entry.kind, entry.id)))
    return this.set(gone.map(({ kind, id }) => ({ kind, id, value: null })), followed)
  }

  /** The crew no longer follows a route of ours: show what came since. */
  release (followed) {
    const waiting = [...this.kept].filter(([name]) => name !== key('routes', followed))
    for (const [name] of waiting) this.kept.delete(name)
    return this.set(waiting.map(([name, value]) => ({ kind: 'routes', id: name.slice('routes/'.length), value })), followed)
  }

  /** Tell displays that all of it is gone; the host has closed the providers before it stops the plugin. */
  farewell () {
    const values = [...this.resources.values()].map(({ kind, id }) => ({ path: `resources.${kind}.${id}`, value: null }))
    this.resources.clear()
    if (values.length) this.app.handleMessage(this.id, { updates: [{ values }] }, 'v2')
  }

  /** Publish `{path, value}` pairs as data. */
  values (pairs) {
    if (!this.publish.targets) return
    const open = pairs.filter(({ path, value }) => this.allowed(path, value))
    if (!open.length) return
    for (const { path, value } of open) this.live.set(path, value)
    this.app.handleMessage(this.id, { updates: [{ values: open.map(({ path, value }) => ({ path, value: value ?? null })) }] })
  }

  allowed (path, value) {
    if (typeof path !== 'string' || !OPEN_PATHS.test(path)) return this.refuse(`data on ${path}`)
    return value !== undefined
  }

  /** Live values end at once when nobody stands behind them. */
  withdraw () {
    const standing = [...this.live].filter(([, value]) => value !== null).map(([path]) => ({ path, value: null }))
    this.values(standing)
  }

  /** Raise or end the notification of a kind of event. */
  notify (kind, state, message) {
    const method = METHODS[this.publish.alerts](state)
    if (!/^[a-z][a-z_]*$/.test(kind)) return this.refuse(`a notification of kind ${kind}`)
    const quiet = state !== 'alert' && state !== 'warn'
    if (!method || (quiet && !this.raised.has(kind))) return
    if (quiet) this.raised.delete(kind)
    else this.raised.set(kind, state === 'warn' ? Infinity : ALERT_TICKS)
    this.tell(kind, { state: quiet ? 'normal' : state, method: quiet ? [] : method, message: String(message) })
  }

  tell (kind, value) {
    const name = kind.replace(/_(.)/g, (_, letter) => letter.toUpperCase())
    this.app.handleMessage(this.id, { updates: [{ values: [{ path: `notifications.navigation.goosewing.${name}`, value }] }] })
  }

  /** A second has passed: an alert that nothing ends is over after a while. */
  age () {
    for (const [kind, left] of [...this.raised]) {
      if (left > 1) this.raised.set(kind, left - 1)
      else this.notify(kind, 'normal', 'a minute ago')
    }
  }

  end (kinds, why) {
    for (const kind of kinds) if (this.raised.has(kind)) this.notify(kind, 'normal', why)
  }

  hush (why) {
    this.end([...this.raised.keys()], why)
  }

  refuse (what) {
    if (this.refused.size < 20 && !this.refused.has(what)) {
      this.refused.add(what)
      this.app.debug(`not published: ${what}`)
    }
    return false
  }

  fault (why) {
    this.faults += 1
    this.app.debug(`the host refused: ${why}`)
  }

  summary () {
    const ids = kind => this.of(kind).map(entry => entry.id)
    return Object.fromEntries(KINDS.map(kind => [kind, ids(kind)]))
  }
}

function part (resource, property) {
  const value = property.split('.').reduce((within, name) => within?.[name], resource)
  if (value === undefined) throw new Error(`no ${property}`)
  return { value, timestamp: resource.timestamp, $source: resource.$source }
}

module.exports = { Shelf, key }
