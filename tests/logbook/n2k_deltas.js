// Turns a recording of the boat's bus into Signal K deltas, by the open standard's own libraries.
const fs = require('fs')
const path = require('path')
const readline = require('readline')

const [modules, file] = process.argv.slice(2)
const { FromPgn } = require(path.join(modules, '@canboat/canboatjs'))
const { N2kMapper } = require(path.join(modules, '@signalk/n2k-signalk'))

const parser = new FromPgn({})
const mapper = new N2kMapper({})
parser.on('error', () => {})
parser.on('warning', () => {})
readline.createInterface({ input: fs.createReadStream(file) }).on('line', (line) => {
  const pgn = parser.parseString(line)
  const delta = pgn && mapper.toDelta(pgn)
  if (delta && delta.updates.some((update) => update.values && update.values.length)) {
    process.stdout.write(`${JSON.stringify(delta)}\n`)
  }
})
