/** What is up: told by the crew in two touches, the sails and the tack. */

import { byId, make, say, show } from './dom.js'

export class Up {
  constructor (give) {
    this.give = give
    this.chosen = null
    for (const tack of ['port', 'starboard']) {
      byId(`up-${tack}`).addEventListener('click', ({ currentTarget }) => this.tell(tack, currentTarget))
    }
  }

  set (panel) {
    const up = panel.shown?.up
    const may = (panel.can ?? []).includes('carry')
    show(byId('up-room'), Boolean(up))
    if (!up) return
    byId('up-room').dataset.known = String(up.known)
    say(byId('up-words'), up.words)
    show(byId('up-sails'), may)
    show(byId('up-tacks'), may && this.chosen !== null)
    const key = JSON.stringify([up.sail_sets, up.sail_set, this.chosen])
    if (key === this.key) return
    this.key = key
    this.panel = panel
    byId('up-sails').replaceChildren(...up.sail_sets.map(name => {
      const pressed = name === (this.chosen ?? up.sail_set)
      const button = make('button', { type: 'button', 'aria-pressed': String(pressed) }, name)
      button.addEventListener('click', () => this.choose(name))
      return button
    }))
  }

  choose (name) {
    this.chosen = name
    this.set(this.panel)
    byId('up-port').focus()
  }

  async tell (tack, button) {
    const sailSet = this.chosen
    if (sailSet === null) return
    await this.give('carry', { sailSet, tack }, button, `${sailSet} is up, ${tack} tack.`)
    this.chosen = null
    show(byId('up-tacks'), false)
  }
}
