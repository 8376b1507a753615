# Print an optspec for argparse to handle cmd's options that are independent of any subcommand.
function __fish_simulators_global_optspecs
    string join \n h/help V/version
end

function __fish_simulators_needs_command
    # Figure out if the current invocation already has a command.
    set -l cmd (commandline -opc)
    set -e cmd[1]
    argparse -s (__fish_simulators_global_optspecs) -- $cmd 2>/dev/null
    or return
    if set -q argv[1]
        # Also print the command, so this can be used to figure out what it is.
        echo $argv[1]
        return 1
    end
    return 0
end

function __fish_simulators_using_subcommand
    set -l cmd (__fish_simulators_needs_command)
    test -z "$cmd"
    and return 1
    contains -- $cmd[1] $argv
end

complete -c simulators -n "__fish_simulators_needs_command" -s h -l help -d 'Print help'
complete -c simulators -n "__fish_simulators_needs_command" -s V -l version -d 'Print version'
complete -c simulators -n "__fish_simulators_needs_command" -f -a "serve" -d 'Serves a brewhouse live over Modbus and MQTT. Reads commands from standard input; `help` lists them'
complete -c simulators -n "__fish_simulators_needs_command" -f -a "inject" -d 'Lets something happen in a brewhouse that is being served, from another terminal'
complete -c simulators -n "__fish_simulators_needs_command" -f -a "play" -d 'Plays a recorded brew as live instruments, over Modbus and MQTT as in a configuration'
complete -c simulators -n "__fish_simulators_needs_command" -f -a "record" -d 'Simulates a whole brew and writes the files of a replay: RUN.csv, samples.csv, config.toml, plan.toml, and the truth in truth.csv and truth.json'
complete -c simulators -n "__fish_simulators_needs_command" -f -a "show" -d 'Prints a scenario that is built in, to be changed; without a name, lists them'
complete -c simulators -n "__fish_simulators_needs_command" -f -a "draw" -d 'Prints an invented scenario'
complete -c simulators -n "__fish_simulators_needs_command" -f -a "check" -d 'Checks scenario files and names every error with key and line'
complete -c simulators -n "__fish_simulators_needs_command" -f -a "study" -d 'Runs many invented brews under the real supervisor and prints how well it did'
complete -c simulators -n "__fish_simulators_needs_command" -f -a "config" -d 'Prints lauterd\'s configuration for a scenario, or its run-off plan'
complete -c simulators -n "__fish_simulators_needs_command" -f -a "help" -d 'Print this message or the help of the given subcommand(s)'
complete -c simulators -n "__fish_simulators_using_subcommand serve" -l speed -d 'Simulated seconds in a second' -r
complete -c simulators -n "__fish_simulators_using_subcommand serve" -l seed -d 'Seed of all randomness; without it the scenario\'s own' -r
complete -c simulators -n "__fish_simulators_using_subcommand serve" -l modbus-tcp -d 'Address of the first Modbus TCP link; port 0 takes a free one' -r
complete -c simulators -n "__fish_simulators_using_subcommand serve" -l rtu -d 'Device of the first serial link; "pty" makes a pseudo-terminal and prints its path (open it with parity "none": it has no other)' -r
complete -c simulators -n "__fish_simulators_using_subcommand serve" -l mqtt -d 'Broker of the MQTT instruments' -r
complete -c simulators -n "__fish_simulators_using_subcommand serve" -l database -d 'Serves the scenario\'s time-series database here: it takes every write and keeps nothing' -r
complete -c simulators -n "__fish_simulators_using_subcommand serve" -l control -d 'Takes commands at this address as well, from `simulators inject`' -r
complete -c simulators -n "__fish_simulators_using_subcommand serve" -l write-config -d 'Writes lauterd\'s configuration for the addresses really served' -r -F
complete -c simulators -n "__fish_simulators_using_subcommand serve" -l start-after -d 'Real seconds before the run-off begins; instruments answer from the start' -r
complete -c simulators -n "__fish_simulators_using_subcommand serve" -l truth -d 'Writes the true state as a JSON line every 10 simulated seconds; "-" is standard output' -r -F
complete -c simulators -n "__fish_simulators_using_subcommand serve" -l until-finished -d 'Stops when the run is over; otherwise the instruments go on answering'
complete -c simulators -n "__fish_simulators_using_subcommand serve" -s h -l help -d 'Print help'
complete -c simulators -n "__fish_simulators_using_subcommand inject" -l at -d 'Where the brewhouse listens: what `serve --control` printed' -r
complete -c simulators -n "__fish_simulators_using_subcommand inject" -s h -l help -d 'Print help'
complete -c simulators -n "__fish_simulators_using_subcommand play" -l config -d 'lauterd\'s configuration of the tun: which instrument is read where. A capture brings its own' -r -F
complete -c simulators -n "__fish_simulators_using_subcommand play" -l speed -d 'Recorded seconds in a second' -r
complete -c simulators -n "__fish_simulators_using_subcommand play" -l start-after -d 'Real seconds before it begins to run; its first row is shown meanwhile' -r
complete -c simulators -n "__fish_simulators_using_subcommand play" -l listen -d 'Address of the first Modbus TCP link; the others follow on the next ports. Without it free ports are taken' -r
complete -c simulators -n "__fish_simulators_using_subcommand play" -l mqtt -d 'Broker for the instruments that publish; never the site\'s' -r
complete -c simulators -n "__fish_simulators_using_subcommand play" -l write-config -d 'Writes the configuration with the addresses really served' -r -F
complete -c simulators -n "__fish_simulators_using_subcommand play" -s h -l help -d 'Print help (see more with \'--help\')'
complete -c simulators -n "__fish_simulators_using_subcommand record" -l seed -d 'Seed of all randomness; without it the scenario\'s own' -r
complete -c simulators -n "__fish_simulators_using_subcommand record" -l into -d 'Directory to write into; made if it is not there' -r -F
complete -c simulators -n "__fish_simulators_using_subcommand record" -s h -l help -d 'Print help'
complete -c simulators -n "__fish_simulators_using_subcommand show" -s h -l help -d 'Print help'
complete -c simulators -n "__fish_simulators_using_subcommand draw" -l seed -r
complete -c simulators -n "__fish_simulators_using_subcommand draw" -s h -l help -d 'Print help'
complete -c simulators -n "__fish_simulators_using_subcommand check" -s h -l help -d 'Print help'
complete -c simulators -n "__fish_simulators_using_subcommand study" -l brews -d 'First brews, each on a tun of its own' -r
complete -c simulators -n "__fish_simulators_using_subcommand study" -l tuns -d 'Tuns with several brews each, instead of --brews' -r
complete -c simulators -n "__fish_simulators_using_subcommand study" -l brews-each -d 'Brews on each tun, with recipes of their own' -r
complete -c simulators -n "__fish_simulators_using_subcommand study" -l seed -d 'Seed of the first tun; the others follow it' -r
complete -c simulators -n "__fish_simulators_using_subcommand study" -l disturbance -d 'Lets this go wrong in every brew and says how it was detected; "all" for one family after the other' -r
complete -c simulators -n "__fish_simulators_using_subcommand study" -l json -d 'Writes every figure as JSON' -r -F
complete -c simulators -n "__fish_simulators_using_subcommand study" -l plots -d 'Writes error.svg, coverage.svg and, of the first brew, fan.svg into a directory' -r -F
complete -c simulators -n "__fish_simulators_using_subcommand study" -l hand-samples -d 'Somebody takes hand samples and types them in'
complete -c simulators -n "__fish_simulators_using_subcommand study" -l no-learning -d 'Every brew of a tun is run as if it were the first: nothing is learnt from the others'
complete -c simulators -n "__fish_simulators_using_subcommand study" -l no-bound -d 'Leaves the bound out, which takes eight hundred further brews to train'
complete -c simulators -n "__fish_simulators_using_subcommand study" -s h -l help -d 'Print help'
complete -c simulators -n "__fish_simulators_using_subcommand config" -l plan -d 'The plan instead of the configuration'
complete -c simulators -n "__fish_simulators_using_subcommand config" -s h -l help -d 'Print help'
complete -c simulators -n "__fish_simulators_using_subcommand help; and not __fish_seen_subcommand_from serve inject play record show draw check study config help" -f -a "serve" -d 'Serves a brewhouse live over Modbus and MQTT. Reads commands from standard input; `help` lists them'
complete -c simulators -n "__fish_simulators_using_subcommand help; and not __fish_seen_subcommand_from serve inject play record show draw check study config help" -f -a "inject" -d 'Lets something happen in a brewhouse that is being served, from another terminal'
complete -c simulators -n "__fish_simulators_using_subcommand help; and not __fish_seen_subcommand_from serve inject play record show draw check study config help" -f -a "play" -d 'Plays a recorded brew as live instruments, over Modbus and MQTT as in a configuration'
complete -c simulators -n "__fish_simulators_using_subcommand help; and not __fish_seen_subcommand_from serve inject play record show draw check study config help" -f -a "record" -d 'Simulates a whole brew and writes the files of a replay: RUN.csv, samples.csv, config.toml, plan.toml, and the truth in truth.csv and truth.json'
complete -c simulators -n "__fish_simulators_using_subcommand help; and not __fish_seen_subcommand_from serve inject play record show draw check study config help" -f -a "show" -d 'Prints a scenario that is built in, to be changed; without a name, lists them'
complete -c simulators -n "__fish_simulators_using_subcommand help; and not __fish_seen_subcommand_from serve inject play record show draw check study config help" -f -a "draw" -d 'Prints an invented scenario'
complete -c simulators -n "__fish_simulators_using_subcommand help; and not __fish_seen_subcommand_from serve inject play record show draw check study config help" -f -a "check" -d 'Checks scenario files and names every error with key and line'
complete -c simulators -n "__fish_simulators_using_subcommand help; and not __fish_seen_subcommand_from serve inject play record show draw check study config help" -f -a "study" -d 'Runs many invented brews under the real supervisor and prints how well it did'
complete -c simulators -n "__fish_simulators_using_subcommand help; and not __fish_seen_subcommand_from serve inject play record show draw check study config help" -f -a "config" -d 'Prints lauterd\'s configuration for a scenario, or its run-off plan'
complete -c simulators -n "__fish_simulators_using_subcommand help; and not __fish_seen_subcommand_from serve inject play record show draw check study config help" -f -a "help" -d 'Print this message or the help of the given subcommand(s)'
