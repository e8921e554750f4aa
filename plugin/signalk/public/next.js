/** The next action, in letters that are read from across the cockpit. */

import { byId, say, show } from './dom.js'
import { angle, capital, countDown, miles, steerWords } from './format.js'

const LONG = 26

export class Next {
  constructor () {
    this.room = byId('next')
    this.said = null
    this.announce = () => {}
    // It stays in sight over what is scrolled: nothing that has the focus may hide beneath it.
    const keepClear = () => document.documentElement.style.setProperty('--next-height', `${this.room.offsetHeight + 12}px`)
    new ResizeObserver(keepClear).observe(this.room)
  }

  set (panel) {
    this.panel = panel
    const { next } = panel
    const due = Boolean(next) && (next.due === 'now' || next.awaiting === true)
    this.room.dataset.due = next ? (due ? 'now' : 'ahead') : 'none'
    this.title = !next ? 'Next' : due ? `Now: ${next.point}` : next.kind === 'mark' ? 'Next mark' : `Next: ${next.point}`
    // Of two manoeuvres at once the words are too many for letters of the full size.
    this.room.dataset.words = (next?.words ?? '').length > LONG ? 'long' : 'short'
    say(byId('next-words'), next ? next.words : panel.message ?? '')
    say(byId('next-time'), !next ? '' : due ? 'NOW' : countDown(next.time_s))
    byId('next-time').classList.toggle('long', byId('next-time').textContent.length > 6)
    say(byId('next-distance'), !next || due ? '' : miles(next.distance_nm))
    this.steer(next, due)
    say(byId('next-now'), panel.board ? `${due ? 'Before' : 'Now'}: ${panel.board.words}, ${steerWords(panel.board.heading_deg, panel.board.heading_magnetic_deg).replace(' ', '\u00a0')}` : '')
    this.button(next, panel)
    this.tell(next, due, panel)
  }

  steer (next, due) {
    const known = next && (Number.isFinite(next.heading_deg) || Number.isFinite(next.heading_magnetic_deg))
    show(byId('next-steer'), Boolean(known))
    if (!known) return
    say(byId('next-steer-label'), due ? 'Steer' : 'Then steer')
    say(byId('next-heading'), steerWords(next.heading_deg, next.heading_magnetic_deg))
    const sails = next.kind === 'mark' && next.tack ? `${capital(next.tack)} tack, ${next.sail_set}` : ''
    const wind = next.steer === 'angle' && Number.isFinite(next.twa_deg) ? `true wind at ${angle(next.twa_deg)}` : ''
    say(byId('next-angle'), [sails, wind].filter(Boolean).join(', '))
  }

  button (next, panel) {
    const wanted = next?.awaiting === true && (panel.can ?? []).includes('acknowledge')
    const button = byId('acknowledge')
    show(button, wanted)
    if (!wanted) return
    say(button, `Acknowledge ${next.point}`)
    button.dataset.point = next.point
  }

  /** Read out only what is new: another action, or the same one due. */
  tell (next, due, panel) {
    const steer = next ? steerWords(next.heading_deg, next.heading_magnetic_deg) : ''
    const words = !next ? panel.message ?? '' : due ? `Now: ${next.words}. Steer ${steer}. Acknowledge ${next.point}.` : `Next, ${next.point}: ${next.words}.`
    const key = next ? `${next.point} ${next.words} ${due}` : panel.message
    if (key === this.said) return
    this.said = key
    this.announce(words)
  }

  look (lost, age) {
    say(byId('next-title'), lost ? `${this.title} (${countDown(age)} old)` : this.title)
  }
}
