/** What to steer now, in the largest letters, and what comes next: in the engine's words. */

import { byId, make, say, show } from './dom.js'
import { countDown } from './format.js'

const LONG = 26
const NORTHS = { T: 'T (true)', M: 'M (magnetic)' }

export class Next {
  constructor (give) {
    this.room = byId('next')
    this.now = byId('now')
    this.said = null
    this.give = give
    this.announce = () => {}
    // It stays in sight over what is scrolled: nothing that has the focus may hide beneath it.
    const keepClear = () => document.documentElement.style.setProperty('--next-height', `${byId('helm').offsetHeight + 12}px`)
    new ResizeObserver(keepClear).observe(byId('helm'))
    byId('undo').addEventListener('click', ({ currentTarget }) => give('undo', { point: currentTarget.dataset.point }, currentTarget, `${currentTarget.dataset.point} waits again.`))
  }

  set (panel) {
    const { next } = panel
    const shown = panel.shown ?? {}
    const due = next?.awaiting === true
    this.room.dataset.due = next ? (due ? 'now' : 'ahead') : 'none'
    this.title = shown.next?.title ?? 'Next'
    // Of two manoeuvres at once the words are too many for letters of the full size.
    this.room.dataset.words = (shown.next?.words ?? '').length > LONG ? 'long' : 'short'
    this.steer(shown.now, due)
    say(byId('next-words'), shown.next?.words ?? panel.message ?? '')
    say(byId('next-time'), shown.next?.time ?? '')
    byId('next-time').classList.toggle('long', byId('next-time').textContent.length > 6)
    say(byId('next-unit'), shown.next?.unit ?? '')
    say(byId('next-distance'), shown.next?.distance ?? '')
    show(byId('next-steer'), Boolean(shown.next?.then))
    say(byId('next-steer-label'), shown.next?.then_label ?? '')
    say(byId('next-heading'), shown.next?.then ?? '')
    say(byId('next-angle'), [shown.next?.then_angle, shown.next?.then_sails].filter(Boolean).join(', '))
    say(byId('next-caution'), shown.caution ?? '')
    this.button(next, shown, panel)
    this.undo(shown.undo, panel)
    this.question(shown.question, panel)
    this.tell(next, due, panel)
  }

  /** The two figures that are steered by. */
  steer (now, due) {
    show(this.now, Boolean(now))
    this.now.dataset.due = due ? 'now' : 'ahead'
    if (!now) return
    this.now.dataset.tack = now.tack
    this.now.dataset.by = now.by
    const [figures, north] = now.steer.split(' ')
    say(byId('now-title'), now.title)
    say(byId('now-heading'), figures)
    say(byId('now-north'), NORTHS[north] ?? '')
    say(byId('now-twa'), now.twa)
    say(byId('now-words'), now.words)
  }

  can (panel, order) {
    return (panel.can ?? []).includes(order)
  }

  button (next, shown, panel) {
    const wanted = Boolean(shown.next?.acknowledge) && this.can(panel, 'acknowledge')
    const button = byId('acknowledge')
    show(button, wanted)
    if (!wanted) return
    say(button, shown.next.acknowledge)
    button.dataset.point = next.point
  }

  undo (undo, panel) {
    const wanted = Boolean(undo) && this.can(panel, 'undo')
    show(byId('undo-room'), wanted)
    if (!wanted) return
    say(byId('undo-words'), undo.words)
    say(byId('undo'), undo.order)
    byId('undo').dataset.point = undo.point
  }

  question (question, panel) {
    show(byId('question'), Boolean(question))
    const key = JSON.stringify([question, this.can(panel, 'answer')])
    if (key === this.asked) return
    this.asked = key
    byId('question-choices').replaceChildren()
    if (!question) return
    say(byId('question-words'), question.words)
    if (!this.can(panel, 'answer')) return
    byId('question-choices').append(...question.choices.map(choice => {
      const button = make('button', { type: 'button', 'data-choice': choice.key }, choice.words)
      button.addEventListener('click', () => this.give('answer', { question: question.key, choice: choice.key }, button, `${choice.words}.`))
      return button
    }))
  }

  /** Read out only what is new: another action, or the same one due. */
  tell (next, due, panel) {
    const { now, next: words, question } = panel.shown ?? {}
    const said = question?.words ?? (!words ? panel.message ?? '' : due ? `${words.title}. ${words.words}. ${now?.title ?? 'Steer'} ${now?.steer ?? words.then}.` : `${words.title}. ${words.words}.`)
    const key = next && !question ? `${next.point} ${next.words} ${due}` : said
    if (key === this.said) return
    this.said = key
    this.announce(said)
  }

  look (lost, age) {
    say(byId('next-title'), lost ? `${this.title} (${countDown(age)} old)` : this.title)
  }
}
