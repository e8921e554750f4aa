/** The crew's orders: plan, acknowledge, activate, clear; each answered in one line. */

import { ask } from './link.js'
import { byId, make, say, show } from './dom.js'

const LONG_MS = 30_000
const ROUTES_AGAIN_MS = 30_000
const ERROR_MS = 30_000

export class Orders {
  constructor (base, done) {
    this.base = base
    this.done = done
    this.can = new Set()
    this.routes = null
  }

  start () {
    byId('export-gpx').href = `${this.base}/export/gpx`
    byId('export-handheld').href = `${this.base}/export/handheld`
    byId('acknowledge').addEventListener('click', ({ currentTarget }) => this.give('acknowledge', { point: currentTarget.dataset.point }, currentTarget, `${currentTarget.dataset.point} acknowledged.`))
    byId('plan-route').addEventListener('click', ({ currentTarget }) => this.plan(currentTarget))
    this.confirmed('activate', 'Made the host’s active route.')
    this.confirmed('clear', 'The plan is forgotten.')
    byId('route').addEventListener('focus', () => this.list())
    setInterval(() => { if (this.can.has('plan') && !document.hidden && document.activeElement !== byId('route')) this.list() }, ROUTES_AGAIN_MS)
  }

  /** An order that asks back first. */
  confirmed (name, said) {
    const dialog = byId(`${name}-dialog`)
    byId(name).addEventListener('click', () => dialog.showModal())
    byId(`${name}-no`).addEventListener('click', () => dialog.close())
    byId(`${name}-yes`).addEventListener('click', () => {
      dialog.close()
      this.give(name, {}, byId(name), said)
    })
  }

  set (panel) {
    const can = new Set(panel.can ?? [])
    const planned = Boolean(panel.plan)
    if (can.has('plan') && !this.can.has('plan')) this.list()
    this.can = can
    show(byId('plan-order'), can.has('plan'))
    show(byId('activate'), can.has('activate') && planned)
    show(byId('clear'), can.has('clear') && (planned || Boolean(panel.route)))
    show(byId('export-gpx'), can.has('export') && planned)
    show(byId('export-handheld'), can.has('export') && planned)
    show(byId('orders-room'), ['plan', 'activate', 'clear', 'export'].some(each => can.has(each)))
    const active = panel.activated
    show(byId('activated'), Boolean(active))
    say(byId('activated'), active ? `Active route of the host: ${active.name}, as the crew made it.` : '')
  }

  async list () {
    let routes
    try {
      routes = await ask(`${this.base}/routes`, { wait: 8000 })
    } catch {
      return
    }
    const select = byId('route')
    const key = JSON.stringify(routes)
    if (key === this.routes) return
    this.routes = key
    const before = select.value
    select.replaceChildren(...routes.map(({ id, name, points }) => make('option', { value: id }, `${name || 'Route without a name'} (${points} points)`)))
    if (!routes.length) select.append(make('option', { value: '' }, 'No stored routes'))
    if (routes.some(({ id }) => id === before)) select.value = before
    byId('plan-route').disabled = !routes.length
  }

  plan (button) {
    const select = byId('route')
    if (!select.value) return
    this.give('plan', { routeId: select.value }, button, `Planning ${select.selectedOptions[0].textContent}.`)
  }

  async give (name, order, button, said) {
    button.disabled = true
    this.fail('')
    say(byId('order-state'), '')
    try {
      await ask(`${this.base}/${name}`, { order, wait: LONG_MS })
      say(byId('order-state'), said)
    } catch (error) {
      this.fail(`${{ plan: 'Not planned', acknowledge: 'Not acknowledged', undo: 'Not taken back', carry: 'Not taken', answer: 'Not taken', activate: 'Not made active', clear: 'Not forgotten' }[name]}: ${error.message}`)
    }
    button.disabled = false
    this.done()
  }

  fail (words) {
    clearTimeout(this.timer)
    say(byId('error'), words)
    if (words) this.timer = setTimeout(() => say(byId('error'), ''), ERROR_MS)
  }
}
