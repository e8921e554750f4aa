'use strict'

/** Goosewing's plug for a Signal K host: the engine itself is the Python package `goosewing`. */

const { Plug } = require('./lib/plug')
const { doors } = require('./lib/doors')
const { schema } = require('./lib/schema')

module.exports = app => {
  const id = 'goosewing'
  const plug = new Plug(app, id)
  return {
    id,
    name: id, // the host finds the status of a plugin only where its name is its id
    description: 'Boards, laylines and wing-and-wing, kept true under way',
    schema,
    start: settings => plug.start(settings),
    stop: () => plug.stop(),
    signalKApiRoutes: router => doors(app, plug, router)
  }
}
