'use strict'

/** Goosewing's plugin for a Signal K host: the engine itself is the Python package `goosewing`. */

const { Plugin } = require('./lib/plugin')
const { doors } = require('./lib/doors')
const { schema } = require('./lib/schema')

module.exports = app => {
  const id = 'goosewing'
  const plugin = new Plugin(app, id)
  return {
    id,
    name: id, // the host finds the status of a plugin only where its name is its id
    description: 'Boards, laylines and wing-and-wing, kept true under way',
    schema,
    start: settings => plugin.start(settings),
    stop: () => plugin.stop(),
    signalKApiRoutes: router => doors(app, plugin, router)
  }
}
