/**
 * The panel: what the crew looks at. It shows the server's figures and computes no navigation.
 *
 * Ids that anybody may rely on:
 *   state of the page   html[data-eyes=day|night], html[data-link=good|lost|none], html[data-state=waiting|advising|stale|failed]
 *   notices             lost (lost-title, lost-why, lost-age), stale (stale-why), error (role=alert), announcer (read out)
 *   what to steer now   now [data-due=ahead|now], now-title, now-heading, now-north, now-twa, now-words
 *   next action         next [data-due=ahead|now|none], next-title, next-words, next-time, next-unit, next-distance,
 *                       next-heading, next-angle, next-caution, acknowledge, undo-room, undo
 *   questions           question, question-words, question-choices (buttons with data-choice)
 *   what is up          up-room [data-known=true|false], up-words, up-sails, up-tacks, up-port, up-starboard
 *   chart               chart, see-plan, see-boat, course-up, readout, chart-key, credit
 *   figures             figures (dd ids: figure-wind, figure-twa, figure-speed, …), ages
 *   boards              boards (table; the present board's row has aria-current="step"), no-plan, plan-summary, notices
 *   polar               polar (svg inside), polar-key, no-polar
 *   orders              route, plan-route, activate, activated, export-gpx, export-handheld, clear, order-state
 *   dialogs             activate-dialog, activate-yes, activate-no, clear-dialog, clear-yes, clear-no
 *   others              eyes (day or night), dimmer, events, caution-first, cautions-more, cautions
 */

import { Link, ask } from './link.js'
import { byId, make, say, show } from './dom.js'
import { Chart } from './chart.js'
import { boardsTable, markPresent } from './table.js'
import { drawPolar } from './polar.js'
import { drawKey } from './key.js'
import { agesWords, showFigures, showAges } from './figures.js'
import { Next } from './next.js'
import { Orders } from './orders.js'
import { Up } from './up.js'
import { countDown, firstSentence, seconds } from './format.js'

const REDRAW_MS = 250
const RETRY_MS = 3000

const root = document.documentElement
const base = document.querySelector('meta[name="goosewing-api"]').content.replace(/\/$/, '')

let panel = null
let chart = null
const orders = new Orders(base, () => link.soon(0))
const give = (...order) => orders.give(...order)
const next = new Next(give)
const up = new Up(give)
const documents = {
  plan: { number: null, content: null, shown: showPlan },
  polar: { number: null, content: null, shown: showPolar }
}
const link = new Link(base, heard)

/** One room's fault must not darken the others. */
function safely (work) {
  try {
    work()
  } catch (error) {
    console.error(error)
  }
}

// ---- what the server says ----------------------------------------------------------------------

function heard (content) {
  panel = content
  root.dataset.state = panel.state ?? 'waiting'
  const state = ({ waiting: 'Waiting', advising: 'Advising', stale: 'No advice', failed: 'No plan' })[panel.state] ?? ''
  say(byId('state'), state)
  // Where there is no next action the same words stand there, in large type.
  say(byId('message'), panel.next ? panel.message ?? '' : '')
  say(byId('host-time'), seconds(panel.time))
  for (const name of Object.keys(documents)) safely(() => want(name, panel[name]?.number ?? null))
  safely(() => next.set(panel))
  safely(() => showFigures(panel))
  safely(() => chart?.setPanel(panel))
  safely(() => drawPolarNow())
  safely(() => markPresent(byId('boards'), ofThisPlan() ? panel.board?.index ?? null : null))
  safely(() => orders.set(panel))
  safely(() => up.set(panel))
  safely(() => showEvents(panel.events ?? []))
  safely(() => showCautions(panel.cautions ?? []))
  look()
}

const ofThisPlan = () => documents.plan.number === (panel?.plan?.number ?? null)

/** Fetch a document when its number has changed. */
async function want (name, number) {
  const held = documents[name]
  if (held.number === number || held.asking === number) return
  if (number === null) return take(held, null, null)
  if (held.failed && performance.now() - held.failed < RETRY_MS) return
  held.asking = number
  try {
    take(held, number, await ask(`${base}/${name}`, { wait: 8000 }))
    held.failed = null
  } catch {
    held.failed = performance.now()
  }
  held.asking = undefined
}

function take (held, number, content) {
  held.number = number
  held.content = content
  safely(() => held.shown(content))
}

function showPlan (plan) {
  const shown = plan?.shown ?? null
  show(byId('boards'), Boolean(shown))
  show(byId('no-plan'), !shown)
  byId('boards').replaceChildren(...(shown ? boardsTable(shown) : []))
  say(byId('plan-summary'), shown?.summary ?? '')
  byId('notices').replaceChildren(...(plan?.notices ?? []).map(each => make('li', {}, each)))
  chart?.setPlan(plan)
  markPresent(byId('boards'), panel?.board?.index ?? null)
}

function showPolar () {
  documents.polar.drawn = null
  drawPolarNow()
}

function drawPolarNow () {
  const held = documents.polar
  const polar = held.content
  show(byId('no-polar'), !polar)
  show(byId('polar'), Boolean(polar))
  show(byId('polar-key'), Boolean(polar))
  const key = JSON.stringify([held.number, panel?.boat?.east_kn, panel?.boat?.north_kn, panel?.route?.next])
  if (!polar || key === held.drawn) return
  held.drawn = key
  drawPolar(byId('polar'), byId('polar-key'), polar, panel ?? {})
}

let eventsKey = null
function showEvents (events) {
  const key = JSON.stringify(events)
  if (key === eventsKey) return
  eventsKey = key
  show(byId('events-room'), events.length > 0)
  byId('events').replaceChildren(...events.map(({ time, state, message }) => make('li', { class: `event ${state}` }, make('time', { datetime: time }, seconds(time)), ' ', message)))
}

let cautionsKey = null
function showCautions (cautions) {
  const key = JSON.stringify(cautions)
  if (key === cautionsKey) return
  cautionsKey = key
  show(byId('cautions-room'), cautions.length > 0)
  say(byId('caution-first'), cautions.length ? firstSentence(cautions[0])[0] : '')
  byId('cautions').replaceChildren(...cautions.map(each => make('li', {}, each)))
}

// ---- how old it is -----------------------------------------------------------------------------

function look () {
  const { lost, why, age_s: age } = link.standing()
  const before = root.dataset.link
  root.dataset.link = age === null && !lost ? 'none' : lost ? 'lost' : 'good'
  show(byId('lost'), lost)
  say(byId('lost-title'), age === null ? 'No link yet.' : 'Link lost.')
  say(byId('lost-why'), why ?? '')
  say(byId('lost-age'), age === null ? '' : `What you see is old: last heard ${countDown(age)} ago.`)
  const stale = !lost && panel?.state === 'stale'
  show(byId('stale'), stale)
  if (stale) say(byId('stale-why'), `${(panel.message ?? '').replace(/^No advice: /, '')} ${agesWords(panel.ages_s, (link.age ?? 0) / 1000)}`)
  if (panel) {
    next.look(lost, age ?? 0)
    showAges(panel.ages_s ?? {}, (link.age ?? 0) / 1000)
  }
  if (before === 'good' && lost) announce('Link lost. What you see is old.')
  if (before === 'lost' && !lost) announce('The link is back.')
}

function announce (words) {
  say(byId('announcer'), words)
}

// ---- day and night -----------------------------------------------------------------------------

function eyes (chosen) {
  root.dataset.eyes = chosen
  byId('eyes').textContent = chosen === 'night' ? 'Day' : 'Night'
  byId('eyes').setAttribute('aria-label', chosen === 'night' ? 'Colours for the day' : 'Colours for the night')
}

byId('eyes').addEventListener('click', () => {
  const chosen = root.dataset.eyes === 'night' ? 'day' : 'night'
  eyes(chosen)
  try { localStorage.setItem('goosewing-eyes', chosen) } catch { /* it will be asked again */ }
})

// ---- the screen's light --------------------------------------------------------------------------

const DIMS = ['0', '1', '2', '3']

function dimmed (level) {
  const known = DIMS.includes(level) ? level : '0'
  root.dataset.dim = known
  byId('dimmer').textContent = known === '0' ? 'Dim' : `Dim ${known}`
}

byId('dimmer').addEventListener('click', () => {
  const level = DIMS[(DIMS.indexOf(root.dataset.dim) + 1) % DIMS.length]
  dimmed(level)
  try { localStorage.setItem('goosewing-dim', level) } catch { /* it will be asked again */ }
})

// ---- begin -------------------------------------------------------------------------------------

eyes(root.dataset.eyes)
try { dimmed(localStorage.getItem('goosewing-dim')) } catch { dimmed('0') }
next.announce = announce
safely(() => drawKey(byId('chart-key')))
safely(() => { chart = new Chart(byId('chart'), base) })
byId('see-plan').addEventListener('click', () => chart?.seePlan())
byId('see-boat').addEventListener('click', () => chart?.seeBoat())
byId('course-up').addEventListener('click', () => chart?.turnUp())
orders.start()
link.start()
setInterval(look, REDRAW_MS)
