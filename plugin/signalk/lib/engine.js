'use strict'

/**
 * The engine's process and its keeper: starts it, talks JSON lines with it, restarts it when it
 * dies or falls silent, and never lets data wait without end for an engine that is slow.
 *
 * Silence is counted in ticks that no line answered, not read off a clock: a machine that slept,
 * or a clock that was set, then kills no healthy engine.
 */

const { spawn } = require('node:child_process')

const PROTOCOL = 1
const FIRST_REST_MS = 250
const LONGEST_REST_MS = 30000
const SETTLED_MS = 10000 // up for so long, it starts afresh with the shortest rest
const START_TICKS = 90 // a small computer needs most of a minute to load the libraries
const TERM_MS = 1500
const KILL_MS = 3000
const ANSWER_MS = 15000
const LAST_WORDS_MS = 500
const LONGEST_LINE = 16 * 1024 * 1024
const MOST_HELD = 500

class Engine {
  /**
   * @param {{python: string, hello: object, patience: number}} settings
   * @param {{message: Function, ready: Function, lost: Function, change: Function,
   *          debug: Function}} on
   */
  constructor (settings, on) {
    this.settings = settings
    this.on = on
    this.state = 'stopped'
    this.reason = ''
    this.lastFault = null // why and when the last one went, for whoever asks later
    this.child = null
    this.rest = 0
    this.restarts = 0
    this.counts = { dropped: 0, unreadable: 0, sent: 0, received: 0 }
    this.asked = new Map() // id -> what waits for an answer
    this.nextId = 0
  }

  start () {
    this.stopping = false
    this.launch()
  }

  launch () {
    this.silentTicks = 0
    this.failure = ''
    this.complaint = ''
    this.flowing = true
    this.held = new Map()
    this.turn('starting', '')
    let child
    try {
      child = spawn(this.settings.python, ['-u', '-m', 'goosewing.live'], {
        stdio: ['pipe', 'pipe', 'pipe'],
        env: environment(),
        windowsHide: true
      })
    } catch (error) {
      this.child = null
      return this.lost(null, `can't start ${this.settings.python}: ${error.message}`)
    }
    this.child = child
    child.on('error', error => this.lost(child, startError(this.settings.python, error)))
    if (!child.stdin) return // out of file handles: 'error' follows
    // 'close' comes when the last words have been read; a grandchild that holds a pipe may delay it.
    child.on('close', (code, signal) => this.exited(child, code, signal))
    child.on('exit', (code, signal) => setTimeout(() => this.exited(child, code, signal), LAST_WORDS_MS))
    child.stdin.on('error', () => {}) // it died between two lines; 'exit' says so
    child.stdin.on('drain', () => child === this.child && this.drained())
    child.stdout.setEncoding('utf8')
    child.stdout.on('data', lineSplitter(line => this.line(child, line), () => this.kill(child, 'sent a line without end')))
    child.stderr.setEncoding('utf8')
    child.stderr.on('data', text => this.complained(child, text))
    this.write({ type: 'hello', version: PROTOCOL, ...this.settings.hello })
  }

  /** Once a second; `time` is the host's clock as it stands. */
  tick (time) {
    if (!this.child || this.stopping) return
    this.silentTicks += 1
    const limit = this.state === 'starting' ? Math.max(START_TICKS, this.settings.patience) : this.settings.patience
    if (this.silentTicks > limit) {
      this.kill(this.child, `gave no answer for ${limit} s`)
    } else if (this.state === 'running' && this.flowing) {
      this.write({ type: 'tick', time })
    }
  }

  /** Pass a message on that must not be lost. False: there is no engine to take it. */
  send (message) {
    if (this.state !== 'running') return false
    this.write(message)
    return true
  }

  /** Pass data on. While the engine is behind, only the newest of each path and source waits. */
  observe (time, source, values) {
    if (this.state !== 'running') return
    if (this.flowing) return this.write({ type: 'observe', time, source, values })
    for (const value of values) this.hold(time, source, value)
  }

  hold (time, source, value) {
    const key = `${source} ${value.path}`
    if (this.held.delete(key)) this.counts.dropped += 1
    this.held.set(key, { time, source, value })
    if (this.held.size > MOST_HELD) {
      this.held.delete(this.held.keys().next().value)
      this.counts.dropped += 1
    }
  }

  drained () {
    this.flowing = true
    for (const [key, { time, source, value }] of this.held) {
      if (!this.flowing) return
      this.held.delete(key)
      this.write({ type: 'observe', time, source, values: [value] })
    }
  }

  /** Ask for what is answered once: `{type: 'export', …}`, `{type: 'coast', …}`. Resolves with its content. */
  ask (question) {
    const id = `${question.type}-${++this.nextId}`
    return new Promise((resolve, reject) => {
      const timer = setTimeout(() => this.settle(id, null, 'the engine gave no answer'), ANSWER_MS)
      this.asked.set(id, { resolve, reject, timer })
      if (!this.send({ ...question, id })) this.settle(id, null, 'the engine is not running')
    })
  }

  /** `told`: the engine itself said why there is no content. */
  settle (id, content, fault, told = false) {
    const waiting = this.asked.get(id)
    if (!waiting) return
    this.asked.delete(id)
    clearTimeout(waiting.timer)
    if (content !== null && content !== undefined) waiting.resolve(content)
    else waiting.reject(Object.assign(new Error(fault || 'the engine sent nothing'), { told }))
  }

  write (message) {
    this.counts.sent += 1
    this.flowing = this.child.stdin.write(JSON.stringify(message) + '\n')
  }

  line (child, text) {
    if (child !== this.child || this.stopping) return
    const message = parse(text)
    if (!message) {
      this.counts.unreadable += 1
      return this.on.debug(`unreadable line from the engine: ${text.slice(0, 200)}`)
    }
    this.silentTicks = 0
    this.counts.received += 1
    if (message.type === 'hello') this.greeted(child, message)
    else if (['export', 'coast', 'answered'].includes(message.type)) this.settle(message.id, message.content, message.message, true)
    else this.other(message)
  }

  other (message) {
    if (message.type === 'error' && message.fatal) this.failure = String(message.message)
    this.on.message(message)
  }

  /** An error about an export is the answer to the oldest that waits; its file won't come. */
  answered (fault) {
    const oldest = [...this.asked.keys()].find(id => id.startsWith('export'))
    if (oldest && fault.startsWith('export')) this.settle(oldest, null, fault, true)
  }

  greeted (child, message) {
    if (this.state !== 'starting') return
    if (message.version !== PROTOCOL) {
      return this.kill(child, `speaks version ${message.version}, this plugin speaks ${PROTOCOL}: update both together`)
    }
    this.release = String(message.release)
    this.settling = setTimeout(() => { this.rest = 0 }, SETTLED_MS)
    this.turn('running', '')
    this.on.ready()
  }

  complained (child, text) {
    if (child !== this.child) return
    // The tail is enough to say what went wrong, whatever the flood.
    this.complaint = (this.complaint + text).slice(-2000)
  }

  kill (child, why) {
    this.failure = why
    child.kill('SIGKILL')
  }

  exited (child, code, signal) {
    const how = signal ? `ended by ${signal}` : `ended with code ${code}`
    const unsaid = signal === 'SIGKILL' ? 'the system ended it, perhaps for want of memory' : 'it gave no reason'
    this.lost(child, `${this.failure || lastLine(this.complaint) || unsaid} (${how})`)
  }

  lost (child, reason) {
    if (child !== this.child) return
    this.child = null
    clearTimeout(this.settling)
    for (const id of [...this.asked.keys()]) this.settle(id, null, 'the engine ended')
    if (this.complaint) this.on.debug(`the engine said last: ${this.complaint}`)
    if (this.stopping) return this.stopped()
    this.rest = Math.min(this.rest * 2 || FIRST_REST_MS, LONGEST_REST_MS)
    this.restarts += 1
    this.timer = setTimeout(() => this.launch(), this.rest)
    this.lastFault = { time: new Date().toISOString(), reason }
    this.turn('resting', reason)
    this.on.lost()
  }

  turn (state, reason) {
    this.state = state
    // Why the last one went stays readable until the next one answers.
    if (reason || state === 'running') this.reason = reason
    this.on.change()
  }

  /** Resolves when no process is left. */
  stop () {
    this.stopping = true
    clearTimeout(this.timer)
    this.state = 'stopped'
    const child = this.child
    if (!child) return Promise.resolve()
    return new Promise(resolve => {
      const timers = [setTimeout(() => child.kill('SIGTERM'), TERM_MS), setTimeout(() => child.kill('SIGKILL'), KILL_MS)]
      this.stopped = () => {
        timers.forEach(clearTimeout)
        resolve()
      }
      child.stdin.write(JSON.stringify({ type: 'bye' }) + '\n')
      child.stdin.end()
    })
  }
}

function environment () {
  const env = { ...process.env, PYTHONUTF8: '1', PYTHONUNBUFFERED: '1' }
  // The host's own sockets, which the child does not get.
  for (const name of ['LISTEN_FDS', 'LISTEN_PID', 'LISTEN_FDNAMES']) delete env[name]
  return env
}

function startError (python, error) {
  const why = error.code === 'ENOENT' ? 'there is no such program' : error.message
  return `can't start ${python}: ${why}`
}

function parse (text) {
  try {
    const message = JSON.parse(text)
    return message !== null && typeof message === 'object' && typeof message.type === 'string' ? message : null
  } catch {
    return null
  }
}

function lastLine (text) {
  const lines = text.trim().split('\n')
  return lines[lines.length - 1].slice(0, 200)
}

function lineSplitter (onLine, onEndless) {
  let pieces = []
  let length = 0
  return chunk => {
    // Only the new piece is searched: a long line must not cost its length squared.
    const lines = chunk.split('\n')
    const rest = lines.pop()
    for (const line of lines) {
      const whole = pieces.join('') + line
      pieces = []
      length = 0
      if (whole.trim()) onLine(whole)
    }
    pieces.push(rest)
    length += rest.length
    if (length > LONGEST_LINE) {
      pieces = []
      length = 0
      onEndless()
    }
  }
}

module.exports = { Engine }
