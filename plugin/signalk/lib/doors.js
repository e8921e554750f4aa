'use strict'

/**
 * The plugin's HTTP doors, under /signalk/v1/api/goosewing: reading for whoever may read the
 * host's data, orders for whoever may change its resources.
 */

const { Refusal } = require('./plugin')

const BASE = '/goosewing'
const FILES = { gpx: 'goosewing-plan.gpx', handheld: 'goosewing-handheld.gpx' }

function doors (app, plugin, router) {
  router.get(`${BASE}/status`, (req, res) => res.json(plugin.summary()))
  read(plugin, router, 'plan', () => plugin.plan)
  read(plugin, router, 'panel', req => ({ ...plugin.panelNow(), can: can(app, req) }))
  read(plugin, router, 'polar', () => plugin.polar())
  read(plugin, router, 'routes', () => plugin.routes())
  read(plugin, router, 'coast', ({ query: { south, west, north, east } }) => plugin.coast({ south, west, north, east }))
  read(plugin, router, 'can', req => can(app, req))
  read(plugin, router, 'activated', () => plugin.activated())
  router.get(`${BASE}/export/:format`, (req, res) => answer(res, () => file(plugin, req.params.format, res)))
  order(app, plugin, router, 'plan', body => planned(plugin, body))
  order(app, plugin, router, 'acknowledge', body => acknowledged(plugin, body))
  order(app, plugin, router, 'undo', body => undone(plugin, body))
  order(app, plugin, router, 'carry', body => carried(plugin, body))
  order(app, plugin, router, 'answer', body => answered(plugin, body))
  order(app, plugin, router, 'clear', async () => {
    await plugin.clear('cleared by the crew')
    return {}
  })
  order(app, plugin, router, 'activate', async () => ({ routeId: await plugin.activate() }))
  return router
}

function read (plugin, router, name, make) {
  router.get(`${BASE}/${name}`, (req, res) => answer(res, () => {
    running(plugin)
    return make(req)
  }))
}

/** What this host offers to whoever asks. */
function can (app, req) {
  const orders = ['plan', 'acknowledge', 'undo', 'carry', 'answer', 'activate', 'clear'].filter(name => name !== 'activate' || typeof app.activateRoute === 'function')
  return allowed(app, req) ? [...orders, 'export'] : ['export']
}

function order (app, plugin, router, name, run) {
  router.post(`${BASE}/${name}`, (req, res) => answer(res, async () => {
    if (!allowed(app, req)) throw new Refusal(403, 'you may look, not change')
    if (foreign(req)) throw new Refusal(403, 'a page of another site may not give orders')
    // Only JSON: without that, no browser asks first whether a page of another site may send it.
    if (!req.is('application/json')) throw new Refusal(415, 'send the order as application/json, {} if it needs nothing')
    running(plugin)
    return { state: 'COMPLETED', statusCode: 200, ...(await run(req.body || {})) }
  }))
}

/**
 * Whether a page of another site sent this. The host itself gives every site leave to send
 * (CORS for all), so its browser's own word for it is taken, or the origin where it has none.
 */
function foreign (req) {
  const site = req.get('Sec-Fetch-Site')
  if (site) return site !== 'same-origin' && site !== 'none'
  const origin = req.get('Origin')
  return Boolean(origin) && origin.replace(/^https?:\/\//, '') !== req.get('Host')
}

function allowed (app, req) {
  const security = app.securityStrategy
  // A host without the question answers for nobody: then nobody may.
  return typeof security?.shouldAllowPut === 'function' && security.shouldAllowPut(req, 'vessels.self', null, 'resources')
}

function running (plugin) {
  if (!plugin.running) throw new Refusal(503, 'Goosewing is not running')
  return plugin
}

async function planned (plugin, body) {
  const { routeId, next, reverse, fromHere } = body.routeId ? body : { ...body, ...plugin.course }
  if (typeof routeId !== 'string') throw new Refusal(400, 'name a stored route: {"routeId": "…"}; no route is active')
  if (next !== undefined && !Number.isInteger(next)) throw new Refusal(400, 'next is the number of a point, the first is 0')
  // Where the crew has named the next point, what was passed before does not count.
  const resume = body.next === undefined
  const taken = await plugin.take({ routeId, next, reverse: reverse === true, fromHere: fromHere !== false, resume }, 'asked')
  return { routeId, name: taken.name, points: taken.points.length, forecast: taken.forecast.steps ? 'used' : taken.forecast.why }
}

const isWord = value => typeof value === 'string' && value !== ''

async function acknowledged (plugin, { point }) {
  if (!isWord(point)) throw new Refusal(400, 'name the turning point: {"point": "T1"}')
  await plugin.acknowledge(point)
  return { point }
}

async function undone (plugin, { point }) {
  if (!isWord(point)) throw new Refusal(400, 'name the turning point: {"point": "T1"}')
  await plugin.said({ type: 'undo', point })
  return { point }
}

async function carried (plugin, { sailSet, tack }) {
  if (!isWord(sailSet) || !isWord(tack)) throw new Refusal(400, 'say what is up: {"sailSet": "…", "tack": "port"}')
  await plugin.said({ type: 'carry', sail_set: sailSet, tack })
  return { sailSet, tack }
}

async function answered (plugin, { question, choice }) {
  if (!isWord(question) || !isWord(choice)) throw new Refusal(400, 'answer as the panel asks: {"question": "passed", "choice": "yes"}')
  await plugin.said({ type: 'answer', question, choice })
  return { question, choice }
}

async function file (plugin, format, res) {
  const name = Object.hasOwn(FILES, format) ? FILES[format] : null
  if (!name) throw new Refusal(404, `there is no format ${format}: take ${Object.keys(FILES).join(' or ')}`)
  const content = await running(plugin).export(format)
  res.set('Content-Disposition', `attachment; filename="${name}"`)
  res.type('application/gpx+xml').send(content)
}

async function answer (res, make) {
  try {
    const result = await make()
    if (!res.headersSent) res.json(result ?? null)
  } catch (error) {
    const code = error instanceof Refusal ? error.code : 502
    if (!res.headersSent) res.status(code).json({ state: 'FAILED', statusCode: code, message: error.message })
  }
}

module.exports = { doors }
