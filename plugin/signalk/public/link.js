/**
 * The link to the boat's server: asks once a second, knows at once when nothing comes back.
 *
 * Ages are counted by performance.now(): the tablet's clock may be wrong or set at any time.
 */

const EVERY_MS = 1000
const WAIT_MS = 2000
const LOST_MS = 2500
const STILL_MS = 5000
const LONGEST_PAUSE_MS = 4000

export class Fault extends Error {
  constructor (message, code) {
    super(message)
    this.code = code
  }
}

/** Fetch JSON; every failure is one clear line. */
export async function ask (url, { order, wait = WAIT_MS } = {}) {
  const given = order === undefined
    ? {}
    : { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify(order) }
  // The same limit for the headers and for what follows them.
  const limit = new AbortController()
  const timer = setTimeout(() => limit.abort(), wait)
  let answer
  let text
  try {
    answer = await fetch(url, { ...given, cache: 'no-store', credentials: 'same-origin', signal: limit.signal })
    text = await answer.text()
  } catch {
    throw new Fault(limit.signal.aborted ? 'The server has not answered in time.' : 'The server can’t be reached.', 0)
  } finally {
    clearTimeout(timer)
  }
  const content = parsed(text)
  if (!answer.ok) throw new Fault(refusal(answer.status, content), answer.status)
  if (content === undefined) throw new Fault('The server’s answer can’t be read.', answer.status)
  return content
}

function parsed (text) {
  try {
    return JSON.parse(text)
  } catch {
    return undefined
  }
}

function refusal (status, content) {
  if (typeof content?.message === 'string' && content.message) return content.message
  if (status === 401 || status === 403) return 'The server wants you to log in first.'
  return `The server answers with error ${status}.`
}

/**
 * Keeps asking for the panel document and tells `heard(panel)` of each.
 * `standing()` says how old the picture is, and what is wrong if something is.
 */
export class Link {
  constructor (base, heard) {
    this.base = base
    this.heard = heard
    this.panel = null
    this.answered = null // when the last document came
    this.moved = null // when its time last went on
    this.failures = 0
    this.fault = null
    this.proven = true
    this.timer = null
    this.asking = false
  }

  start () {
    this.begun = performance.now()
    document.addEventListener('visibilitychange', () => {
      // A device that slept may show a picture of hours ago: it counts as old until the server speaks.
      if (document.hidden) this.proven = false
      else this.soon(0)
    })
    addEventListener('online', () => this.soon(0))
    this.soon(0)
  }

  soon (ms) {
    clearTimeout(this.timer)
    this.timer = setTimeout(() => this.poll(), ms)
  }

  async poll () {
    if (this.asking) return
    this.asking = true
    const begun = performance.now()
    try {
      this.take(await ask(`${this.base}/panel`))
    } catch (error) {
      this.failures += 1
      this.fault = error
    }
    this.asking = false
    const pause = this.failures ? Math.min(250 * 2 ** this.failures, LONGEST_PAUSE_MS) : Math.max(EVERY_MS - (performance.now() - begun), 100)
    this.soon(pause)
  }

  take (panel) {
    if (panel === null || typeof panel !== 'object') throw new Fault('The server’s answer can’t be read.', 200)
    const now = performance.now()
    if (!this.panel || panel.time !== this.panel.time || this.moved === null) this.moved = now
    this.panel = panel
    this.answered = now
    this.failures = 0
    this.fault = null
    this.proven = true
    this.heard(panel)
  }

  /** Milliseconds since the last document came; null before the first. */
  get age () {
    return this.answered === null ? null : performance.now() - this.answered
  }

  /** {lost, why, age_s}: lost where what is shown may no longer be true. */
  standing () {
    const age = this.age
    if (age === null) {
      return { lost: this.failures > 0 || performance.now() - this.begun > LOST_MS, why: this.fault?.message ?? null, age_s: null }
    }
    const lost = age > LOST_MS || this.failures > 1 || !this.proven || (this.failures > 0 && this.fault.code > 0)
    if (lost) return { lost, why: this.fault?.message ?? 'The server does not answer.', age_s: age / 1000 }
    const still = performance.now() - this.moved
    const alive = this.panel.state === 'advising' || this.panel.state === 'stale'
    if (alive && still > STILL_MS) return { lost: true, why: 'The server answers, but its picture stands still.', age_s: still / 1000 }
    return { lost: false, why: null, age_s: age / 1000 }
  }
}
