'use strict'

/**
 * Between host and engine: passes the host's data in, puts the engine's plan on show, and says
 * honestly how things stand. It computes nothing of navigation.
 */

const { randomUUID } = require('node:crypto')
const path = require('node:path')
const { Engine } = require('./engine')
const { Shelf, key } = require('./shelf')
const { complete } = require('./schema')
const { pointsOf, followed, stored, plannable } = require('./course')
const { Panel } = require('./panel')
const { forecastFor } = require('./forecast')
const { Kept } = require('./kept')

const HEARD = [
  'navigation.position', 'navigation.headingTrue', 'navigation.headingMagnetic',
  'navigation.magneticVariation', 'navigation.speedThroughWater', 'navigation.courseOverGroundTrue',
  'navigation.speedOverGround', 'navigation.leewayAngle', 'environment.wind.*', 'environment.current',
  'sails.inventory.*'
]
// What an event puts an end to: the engine says each thing once, and not when it is over.
const OF_THIS_TURN = ['approach', 'handle_pole', 'turn_now', 'turn_pays', 'on_layline', 'overstood']
const ENDS = {
  within_limits: ['beyond_limits'],
  recovered: ['stale'],
  sources_agree: ['sources_disagree'],
  wing_pays: ['wing_no_longer_pays'],
  wing_no_longer_pays: ['wing_pays'],
  headed: ['lifted'],
  lifted: ['headed'],
  turn_now: ['approach'],
  new_order: ['approach'],
  turn_done: ['approach', 'handle_pole', 'turn_now', 'turn_pays', 'overstood', 'turn_undone'],
  answered: ['asked'],
  clear_of_dead_downwind: ['dead_downwind'],
  on_layline: ['overstood'],
  overstood: ['on_layline'],
  mark_rounded: OF_THIS_TURN,
  replanned: OF_THIS_TURN,
  stale: [...OF_THIS_TURN, 'headed', 'lifted', 'wing_pays', 'wing_no_longer_pays']
}
const TICK_MS = 1000
const ROUTE_CHECK_TICKS = 5
const KEEP_TICKS = 300
const RESTORE_TICKS = 20 // the host's own store of routes may start later than the plugin
const LEFTOVER_MS = 10000 // a plan nobody stands behind stays no longer than this
const MOST_EVENTS = 50

/** A request the plugin understands but cannot do; `code` is the HTTP status it becomes. */
class Refusal extends Error {
  constructor (code, message) {
    super(message)
    this.code = code
  }
}

class Plugin {
  constructor (app, id) {
    this.app = app
    this.id = id
    this.running = false
    this.end = Promise.resolve()
    this.idle('')
  }

  idle (notice) {
    this.notice = notice
    this.advice = null
    this.order = null
    this.plan = null
    this.panel = new Panel()
    this.events = []
    this.leftover = new Set()
    this.leaving = null
    this.course = null
    this.lastCourse = null
    this.copy = null
    this.asked = null
    this.busy = false
    this.ticks = 0
    this.reported = ''
    this.unsubscribes = []
  }

  start (given) {
    // Two changes saved in quick succession: the host stops twice, then starts twice.
    if (this.running) this.stop()
    this.idle('')
    this.settings = complete(given)
    const missing = this.lacking()
    if (missing) return this.app.setPluginError(missing)
    const { boat, performance, python, patience_s: patience, publish, options } = this.settings
    this.shelf = new Shelf(this.app, this.id, publish)
    this.shelf.open()
    this.engine = new Engine({ python, patience, hello: { boat, performance, options, ...this.kept() } }, this.listeners())
    this.keeper = new Kept(this.folder(), text => this.app.debug(text))
    this.asked = this.keeper.read()
    this.running = true
    this.engine.start()
    this.clock = setInterval(() => this.tick(), TICK_MS)
  }

  /** Where the engine keeps what must survive a restart: the host's own folder for the plugin. */
  kept () {
    const folder = this.folder()
    return folder ? { state: path.join(folder, 'under-way.json') } : {}
  }

  folder () {
    return typeof this.app.getDataDirPath === 'function' ? this.app.getDataDirPath() : null
  }

  lacking () {
    if (!this.settings.boat || !this.settings.boat.trim()) return 'name a boat file in the configuration'
    const needed = ['registerResourceProvider', 'subscriptionmanager', 'resourcesApi']
    const absent = needed.filter(name => !this.app[name])
    return absent.length ? `this host is too old: it has no ${absent.join(', ')}` : null
  }

  listeners () {
    return {
      message: message => this.message(message),
      ready: () => this.ready(),
      lost: () => this.lost(),
      change: () => this.report(),
      debug: text => this.app.debug(text)
    }
  }

  stop () {
    if (this.running) this.end = this.finish()
    return this.end
  }

  /** Resolves when no process is left. */
  async finish () {
    this.running = false
    clearInterval(this.clock)
    clearTimeout(this.leaving)
    this.deafen()
    this.shelf.withdraw()
    this.shelf.hush('Goosewing has stopped')
    this.shelf.farewell()
    await this.engine.stop()
  }

  // From the host -----------------------------------------------------------------------------

  ready () {
    // Only now, for the host tells the present values once, at the subscription.
    this.deafen()
    const subscribe = HEARD.map(path => ({ path, policy: 'instant' }))
    this.app.subscriptionmanager.subscribe({ context: 'vessels.self', subscribe }, this.unsubscribes,
      fault => this.app.debug(`subscription: ${fault}`), delta => this.listen(delta))
    this.sendPlan()
  }

  deafen () {
    for (const unsubscribe of this.unsubscribes.splice(0)) unsubscribe()
  }

  /** Whatever a source makes up must not throw into the host's own stream of data. */
  listen (delta) {
    try {
      this.hear(delta)
    } catch (error) {
      this.app.debug(`data that could not be passed on: ${error.message}`)
    }
  }

  hear (delta) {
    for (const { $source: source, timestamp, values } of delta.updates || []) {
      if (values && source !== this.id) this.engine.observe(timestamp, source, values)
    }
  }

  tick () {
    this.engine.tick(new Date().toISOString())
    this.panel.age()
    this.shelf.age()
    if (this.busy) return
    this.busy = true
    this.watch()
      .catch(error => this.app.debug(`watching the course: ${error.message}`))
      .finally(() => { this.busy = false })
  }

  async watch () {
    this.ticks += 1
    if (this.asked) await this.resume()
    else await this.watchCourse()
    if (this.ticks % KEEP_TICKS === 0) this.keeper.write(this.order)
    if (this.order && this.ticks % ROUTE_CHECK_TICKS === 0) await this.watchRoute()
  }

  /** Take up what was asked for before the plugin or the host was started again. */
  async resume () {
    const asked = this.asked
    this.course = await followed(this.app)
    const found = await stored(this.app, asked.routeId)
    if (asked !== this.asked) return
    if (!found && this.ticks < RESTORE_TICKS) return
    this.asked = null
    if (!found) return this.say('the route that was asked for before the restart is not there: ask again')
    // The host's own course is as it was when the crew asked for another route.
    this.lastCourse = JSON.stringify(this.course)
    await this.take(asked, 'asked').catch(error => this.say(error.message))
  }

  async watchCourse () {
    this.course = await followed(this.app)
    await this.shelf.release(this.course?.routeId)
    const mine = this.course && this.shelf.has('routes', this.course.routeId)
    const seen = JSON.stringify(this.course)
    if (this.settings.route !== 'active' || mine || seen === this.lastCourse) return
    this.lastCourse = seen
    // A route that is sailed already: the crew has set another point on a display.
    const resume = this.order?.routeId !== this.course?.routeId
    if (this.course) await this.take({ ...this.course, resume }, 'active').catch(error => this.say(error.message))
    else if (this.order?.origin === 'active') await this.clear('no route is active in the host')
  }

  async watchRoute () {
    const order = this.order
    const route = await stored(this.app, order.routeId)
    if (order !== this.order) return
    if (!route) return this.clear(`the route "${order.name}" was deleted: its plan is cleared`)
    const points = pointsOf(route, order.reverse)
    if (JSON.stringify(points) !== JSON.stringify(order.points)) await this.take({ ...order, next: order.reached ?? order.next, resume: false }, order.origin)
  }

  // Orders of the crew ------------------------------------------------------------------------

  /** Plan a stored route: `{routeId, next, reverse, fromHere}`. Returns the order. */
  async take ({ routeId, next, reverse = false, fromHere = true, resume = true }, origin) {
    if (this.shelf.has('routes', routeId)) throw new Refusal(409, 'that route is a plan already: name the route it was made from')
    const route = await stored(this.app, routeId)
    if (!route) throw new Refusal(404, `there is no route ${routeId}`)
    const order = { routeId, reverse, fromHere, resume, origin, name: String(route.name || 'Route'), points: this.points(route, reverse) }
    // The first point of a route is where it starts: from here, she makes for the second.
    order.next = next ?? Math.min(1, order.points.length - 1)
    if (!order.points[order.next]) throw new Refusal(400, `the route has ${order.points.length} points, none is number ${order.next}`)
    order.forecast = await this.forecast(order)
    this.asked = null
    this.order = order
    this.notice = ''
    this.keeper.write(order)
    this.sendPlan()
    // Sent again, it goes to an engine that was started anew.
    order.resume = true
    return order
  }

  points (route, reverse) {
    try {
      return pointsOf(route, reverse)
    } catch (error) {
      throw new Refusal(400, error.message)
    }
  }

  async forecast (order) {
    if (!this.settings.forecast) return { steps: null, why: 'switched off' }
    const here = this.app.getSelfPath('navigation.position.value')
    const { lat, lon } = order.points[order.next]
    return forecastFor(this.app, Number.isFinite(here?.latitude) ? here : { latitude: lat, longitude: lon })
  }

  sendPlan () {
    if (!this.order) return
    const { routeId, name, points, fromHere, resume, next, reached, forecast } = this.order
    const message = { type: 'plan', id: routeId, name, points, from_here: fromHere, next: reached ?? next, resume }
    this.engine.send(forecast.steps ? { ...message, forecast: forecast.steps } : message)
  }

  async clear (notice = '') {
    this.asked = null
    this.order = null
    this.keeper.write(null)
    this.plan = null
    this.engine.send({ type: 'clear' })
    this.shelf.withdraw()
    this.shelf.hush('the plan is cleared')
    this.course = await followed(this.app)
    await this.shelf.empty(this.course?.routeId)
    this.say(notice)
  }

  async acknowledge (point) {
    await this.said({ type: 'acknowledge', point })
    this.shelf.end(ENDS.turn_done, 'acknowledged')
  }

  /** What the crew says and the engine may refuse, in its own words. */
  said (order) {
    return this.engine.ask(order).catch(error => {
      throw new Refusal(error.told ? 409 : 503, error.told ? error.message : this.describe().message)
    })
  }

  /** Make the plan as it stands the host's active route; a later plan does not change this one. */
  async activate () {
    const planned = this.shelf.of('routes').find(entry => entry.value?.feature?.properties?.role === 'plan')
    if (!planned || !this.plan) throw new Refusal(409, 'there is no plan to activate')
    if (typeof this.app.activateRoute !== 'function') throw new Refusal(501, 'this host has no course to set')
    const before = this.copy
    const id = randomUUID()
    await this.shelf.set([{ kind: 'routes', id, value: asActivated(planned.value) }])
    this.copy = id
    await this.activateCopy(id, planned.value)
    this.course = await followed(this.app)
    if (before) await this.shelf.set([{ kind: 'routes', id: before, value: null }], id)
    return id
  }

  async activateCopy (id, { feature }) {
    try {
      const pointIndex = feature.geometry.coordinates.length > 1 ? 1 : 0
      await this.app.activateRoute({ href: `/resources/routes/${id}`, pointIndex, reverse: false })
    } catch (error) {
      await this.shelf.set([{ kind: 'routes', id, value: null }])
      throw new Refusal(400, error.message)
    }
  }

  export (format) {
    if (!this.plan) throw new Refusal(409, 'there is no plan to export')
    return this.engine.ask({ type: 'export', format })
  }

  // What displays ask ---------------------------------------------------------------------------

  /** How things stand at this moment, for a display: nulls where the engine can't say. */
  panelNow () {
    const { state, message } = this.helmWords()
    const known = { state, message, events: this.events, plan: this.plan, activated: this.activated() }
    return this.panel.document(known, this.engine.state === 'running')
  }

  polar () {
    return this.engine.state === 'running' ? this.panel.polar : null
  }

  /** The route that the crew has made the host's active one; `plan` where it is a plan of ours. */
  activated () {
    if (!this.course) return null
    const { routeId, name } = this.course
    return { routeId, name, plan: this.shelf.has('routes', routeId) }
  }

  routes () {
    return plannable(this.app, id => this.shelf.has('routes', id))
  }

  coast (box) {
    return this.engine.ask({ type: 'coast', ...box }).catch(error => {
      throw new Refusal(error.told ? 400 : 503, error.message)
    })
  }

  // From the engine ---------------------------------------------------------------------------

  message (message) {
    const take = { status: this.status, event: this.event, publish: this.published, error: this.fault, panel: this.looked, polar: this.drawn }[message.type]
    if (!take) return this.app.debug(`the engine said something unknown: ${message.type}`)
    try {
      take.call(this, message)
    } catch (error) {
      this.app.debug(`a ${message.type} from the engine could not be used: ${error.message}`)
    }
  }

  status (message) {
    const fell = ['stale', 'failed'].includes(message.state) && this.advice?.state !== message.state
    this.advice = message
    if (fell) this.shelf.withdraw()
    this.report()
  }

  event ({ kind, state, message, values }) {
    this.events.push({ time: new Date().toISOString(), kind, state, message, values })
    this.events.splice(0, this.events.length - MOST_EVENTS)
    if (kind === 'mark_rounded') this.rounded(values)
    this.shelf.end(ENDS[kind] || [], message)
    this.shelf.notify(String(kind), state, message)
  }

  /** So that an engine that is started anew does not turn back to a mark that lies astern. */
  rounded ({ next, route } = {}) {
    // By number: on a course of laps a mark is passed again, under a name of its own.
    if (!this.order || route !== this.order.routeId) return
    if (!(next > (this.order.reached ?? this.order.next))) return
    this.order.reached = next
    if (!this.order.points[next]) this.order = null
    this.keeper.write(this.order)
  }

  published ({ reason, resources = [], deltas = [], plan }) {
    if (plan !== undefined && !(reason === 'update' && plan === null)) this.plan = plan
    this.shelf.values(deltas)
    for (const { kind, id } of resources) this.leftover.delete(key(kind, id))
    this.show(resources).catch(error => this.app.debug(`publishing: ${error.message}`))
    if (reason === 'replanned') {
      this.notice = ''
      this.sweep()
    }
  }

  async show (resources) {
    this.course = await followed(this.app)
    await this.shelf.set(resources, this.course?.routeId)
  }

  looked (message) {
    this.panel.take(message)
  }

  drawn (message) {
    this.panel.draw(message)
  }

  fault ({ message }) {
    this.engine.answered(String(message))
    this.say(String(message))
  }

  lost () {
    this.deafen()
    this.advice = null
    this.panel = new Panel()
    this.shelf.withdraw()
    this.shelf.hush('the engine stopped')
    this.leftover = new Set(this.shelf.resources.keys())
    if (this.copy) this.leftover.delete(key('routes', this.copy))
    // Counted from the first loss: an engine that fails again and again must not keep an old plan on show.
    this.leaving ??= setTimeout(() => this.sweep(), LEFTOVER_MS)
  }

  /** Take away what a former engine published and the present one did not. */
  sweep () {
    clearTimeout(this.leaving)
    this.leaving = null
    if (!this.leftover.size) return
    const stays = new Set([...this.shelf.resources.keys()].filter(name => !this.leftover.has(name)))
    this.leftover.clear()
    if (!this.engine || this.engine.state !== 'running') this.plan = null
    this.shelf.empty(this.course?.routeId, stays).catch(error => this.app.debug(error.message))
  }

  // How things stand --------------------------------------------------------------------------

  say (notice) {
    this.notice = notice
    this.report()
  }

  describe () {
    if (!this.running) return { state: 'stopped', message: 'not running' }
    const { state, reason } = this.engine
    if (state === 'resting') return { state: 'failed', message: `${reason}; trying again` }
    if (state === 'starting') return { state: reason ? 'failed' : 'starting', message: reason ? `${reason}; starting again` : 'starting' }
    const advice = this.advice || { state: 'waiting', message: 'waiting for the engine' }
    const words = [this.notice, advice.message].filter(Boolean).join('; ')
    return { state: advice.state, message: words }
  }

  /** The same for the helm: what it means, not why; the reason stands on the host's page. */
  helmWords () {
    if (this.running && ['resting', 'starting'].includes(this.engine.state) && this.engine.reason) {
      return { state: 'failed', message: 'No advice: the engine has stopped and is being started again.' }
    }
    return this.describe()
  }

  report () {
    if (!this.running) return
    const { state, message } = this.describe()
    const now = `${state} ${message}`
    if (now === this.reported) return
    this.reported = now
    if (['failed', 'stale'].includes(state)) this.app.setPluginError(message)
    else this.app.setPluginStatus(message)
  }

  summary () {
    const { state, message } = this.describe()
    if (!this.running) return { state, message }
    const { order, engine, shelf } = this
    return {
      state,
      message,
      notice: this.notice,
      advice: this.advice,
      route: order && { id: order.routeId, name: order.name, points: order.points.length, next: order.reached ?? order.next, forecast: order.forecast.steps ? 'used' : order.forecast.why },
      activated: this.copy && shelf.has('routes', this.copy) ? this.copy : null,
      events: this.events,
      published: shelf.summary(),
      engine: { state: engine.state, pid: engine.child?.pid ?? null, release: engine.release ?? null, restarts: engine.restarts, lastFault: engine.lastFault, ...engine.counts },
      refused: [...shelf.refused],
      faults: shelf.faults
    }
  }
}

function asActivated (route) {
  const copy = structuredClone(route)
  copy.name = `${route.name}, as activated`
  copy.feature.properties = { ...copy.feature.properties, role: 'activated' }
  return copy
}

module.exports = { Plugin, Refusal }
