# Print an optspec for argparse to handle cmd's options that are independent of any subcommand.
function __fish_lauterd_global_optspecs
    string join \n h/help V/version
end

function __fish_lauterd_needs_command
    # Figure out if the current invocation already has a command.
    set -l cmd (commandline -opc)
    set -e cmd[1]
    argparse -s (__fish_lauterd_global_optspecs) -- $cmd 2>/dev/null
    or return
    if set -q argv[1]
        # Also print the command, so this can be used to figure out what it is.
        echo $argv[1]
        return 1
    end
    return 0
end

function __fish_lauterd_using_subcommand
    set -l cmd (__fish_lauterd_needs_command)
    test -z "$cmd"
    and return 1
    contains -- $cmd[1] $argv
end

complete -c lauterd -n "__fish_lauterd_needs_command" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_needs_command" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_needs_command" -f -a "demo" -d 'Shows the service at work on a simulated brewhouse, sixty times faster than life'
complete -c lauterd -n "__fish_lauterd_needs_command" -f -a "check-config" -d 'Checks configuration files: prints the resolved instruments, or everything that is wrong'
complete -c lauterd -n "__fish_lauterd_needs_command" -f -a "probe" -d 'Looks at instruments that are not described yet: Modbus units, their registers, MQTT topics'
complete -c lauterd -n "__fish_lauterd_needs_command" -f -a "commission" -d 'Walks through the commissioning of a tun and writes the acceptance sheet'
complete -c lauterd -n "__fish_lauterd_needs_command" -f -a "run" -d 'Runs the service: one tun for each configuration file'
complete -c lauterd -n "__fish_lauterd_needs_command" -f -a "brew" -d 'Starts, ends, lists, shows and exports brews of the running service'
complete -c lauterd -n "__fish_lauterd_needs_command" -f -a "sample" -d 'Gives the running brew a hand sample'
complete -c lauterd -n "__fish_lauterd_needs_command" -f -a "loop-check" -d 'Checks instruments against references, writes certificates, and corrects pH and gravity'
complete -c lauterd -n "__fish_lauterd_needs_command" -f -a "alarms" -d 'Lists alarms, acknowledges and shelves them, takes them out of service, and tells how they behaved'
complete -c lauterd -n "__fish_lauterd_needs_command" -f -a "status" -d 'Shows the tuns of the running service: run-off, stop-point, alarms and readings'
complete -c lauterd -n "__fish_lauterd_needs_command" -f -a "tun" -d 'Shows, exports and resets what earlier brews taught about a tun'
complete -c lauterd -n "__fish_lauterd_needs_command" -f -a "user" -d 'Adds, removes and lists the people who may sign in'
complete -c lauterd -n "__fish_lauterd_needs_command" -f -a "token" -d 'Makes, removes and lists the tokens of programs'
complete -c lauterd -n "__fish_lauterd_needs_command" -f -a "report" -d 'Writes the report of a brew: one HTML file that needs nothing beside it and prints well, or its data'
complete -c lauterd -n "__fish_lauterd_needs_command" -f -a "record" -d 'Records the raw bytes of every link and the raw messages of every topic, with their times'
complete -c lauterd -n "__fish_lauterd_needs_command" -f -a "replay" -d 'Runs recorded instruments through the same watch as the live service, as fast as it can'
complete -c lauterd -n "__fish_lauterd_needs_command" -f -a "backup" -d 'Copies the record to another directory, while the service may be running; or puts a copy back'
complete -c lauterd -n "__fish_lauterd_needs_command" -f -a "calc" -d 'The brewer\'s arithmetic: each answer with its formula and its source'
complete -c lauterd -n "__fish_lauterd_needs_command" -f -a "help" -d 'Print this message or the help of the given subcommand(s)'
complete -c lauterd -n "__fish_lauterd_using_subcommand demo" -l speed -d 'Simulated seconds in a second' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand demo" -l seed -d 'Another seed gives other noise on the instruments; without it the scenario\'s own' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand demo" -l listen -d 'Where the page is served; without it on any free port' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand demo" -l language -d 'Language of the page' -r -f -a "en\t''
de\t''"
complete -c lauterd -n "__fish_lauterd_using_subcommand demo" -l stay -d 'Goes on serving page and record after the run-off, until Ctrl-C'
complete -c lauterd -n "__fish_lauterd_using_subcommand demo" -s h -l help -d 'Print help (see more with \'--help\')'
complete -c lauterd -n "__fish_lauterd_using_subcommand demo" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand check-config" -l json -d 'Prints what was resolved as JSON'
complete -c lauterd -n "__fish_lauterd_using_subcommand check-config" -l schema -d 'Prints the JSON Schema of the configuration file and ends'
complete -c lauterd -n "__fish_lauterd_using_subcommand check-config" -s h -l help -d 'Print help (see more with \'--help\')'
complete -c lauterd -n "__fish_lauterd_using_subcommand check-config" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and not __fish_seen_subcommand_from units registers topics help" -s h -l help -d 'Print help (see more with \'--help\')'
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and not __fish_seen_subcommand_from units registers topics help" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and not __fish_seen_subcommand_from units registers topics help" -f -a "units" -d 'Asks every unit for one register and lists those that answer'
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and not __fish_seen_subcommand_from units registers topics help" -f -a "registers" -d 'Reads registers and shows every plausible reading of them: types, byte orders, scales'
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and not __fish_seen_subcommand_from units registers topics help" -f -a "topics" -d 'Listens to a broker and lists every topic with what its messages hold'
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and not __fish_seen_subcommand_from units registers topics help" -f -a "help" -d 'Print this message or the help of the given subcommand(s)'
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from units" -l first -d 'First unit' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from units" -l last -d 'Last unit' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from units" -l tcp -d 'Modbus TCP; without a port 502, that of the protocol' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from units" -l rtu-over-tcp -d 'RTU frames through a TCP gateway' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from units" -l rtu -d 'Modbus RTU on a serial device' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from units" -l baud -d 'Bits a second, with --rtu' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from units" -l parity -d 'Parity, with --rtu' -r -f -a "none\t''
even\t''
odd\t''"
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from units" -l timeout -d 'How long an answer may take, ms' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from units" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from units" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from registers" -l unit -d 'Unit of the device' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from registers" -l table -d 'Modbus table' -r -f -a "input\t''
holding\t''
discrete\t''
coil\t''"
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from registers" -l from -d 'First address, counted from 0' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from registers" -l count -d 'How many registers' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from registers" -l watch -d 'Reads again for so many seconds and shows what moves; what leaves the expected range loses its mark' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from registers" -l expect -d 'What the instrument shows now, for example 1048.9, or 1030..1060 where it moves: readings within it, or within 2 % of it, are marked and stand first. Without it the usual range of --measures counts, if that is given' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from registers" -l id -d 'Name of the instrument in the table to paste' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from registers" -l measures -d 'What it measures: runnings-gravity, runoff-flow, kettle-volume and so on' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from registers" -l unit-of-value -d 'Unit of its readings; without it the usual one of the quantity' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from registers" -l temperature -d 'Name of the thermometer that compensates it: a density needs one, and a pH for limits at room temperature' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from registers" -l pick -d 'Which of the listed readings the table is for; without it the first, if none fits as well' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from registers" -l into -d 'Adds the table to this configuration instead of printing it to be pasted; a file that is not there is begun' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from registers" -l tcp -d 'Modbus TCP; without a port 502, that of the protocol' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from registers" -l rtu-over-tcp -d 'RTU frames through a TCP gateway' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from registers" -l rtu -d 'Modbus RTU on a serial device' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from registers" -l baud -d 'Bits a second, with --rtu' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from registers" -l parity -d 'Parity, with --rtu' -r -f -a "none\t''
even\t''
odd\t''"
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from registers" -l timeout -d 'How long an answer may take, ms' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from registers" -l all -d 'Lists the readings outside the expected range as well'
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from registers" -s h -l help -d 'Print help (see more with \'--help\')'
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from registers" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from topics" -l broker -d 'The broker; without it that of --config' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from topics" -l user -d 'User name at the broker' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from topics" -l password-file -d 'File with the user\'s password, in one line' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from topics" -l ca-file -d 'PEM file of the authority that signed the broker\'s certificate; without it the system\'s are trusted' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from topics" -l config -d 'Configuration of the tun, for its broker' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from topics" -l filter -d 'Topics to listen to; may be given more than once' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from topics" -l listen-for -d 'How long to listen' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from topics" -l expect -d 'What the instrument shows now, for example 1048.9, or 1030..1060 where it moves: readings within it, or within 2 % of it, are marked and stand first. Without it the usual range of --measures counts, if that is given' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from topics" -l id -d 'Name of the instrument in the table to paste' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from topics" -l measures -d 'What it measures: runnings-gravity, runoff-flow, kettle-volume and so on' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from topics" -l unit-of-value -d 'Unit of its readings; without it the usual one of the quantity' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from topics" -l temperature -d 'Name of the thermometer that compensates it: a density needs one, and a pH for limits at room temperature' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from topics" -l pick -d 'Which of the listed readings the table is for; without it the first, if none fits as well' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from topics" -l into -d 'Adds the table to this configuration instead of printing it to be pasted; a file that is not there is begun' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from topics" -l tls -d 'Encrypts the connection'
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from topics" -l watch -d 'Shows the values every second as they change'
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from topics" -l all -d 'Lists the readings outside the expected range as well'
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from topics" -s h -l help -d 'Print help (see more with \'--help\')'
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from topics" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from help" -f -a "units" -d 'Asks every unit for one register and lists those that answer'
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from help" -f -a "registers" -d 'Reads registers and shows every plausible reading of them: types, byte orders, scales'
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from help" -f -a "topics" -d 'Listens to a broker and lists every topic with what its messages hold'
complete -c lauterd -n "__fish_lauterd_using_subcommand probe; and __fish_seen_subcommand_from help" -f -a "help" -d 'Print this message or the help of the given subcommand(s)'
complete -c lauterd -n "__fish_lauterd_using_subcommand commission; and not __fish_seen_subcommand_from alarms help" -l config -d 'Configuration of the tun' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand commission; and not __fish_seen_subcommand_from alarms help" -l who -d 'Who commissions it, for the sheet; asked for on a terminal' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand commission; and not __fish_seen_subcommand_from alarms help" -l watch -d 'How long every instrument is read' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand commission; and not __fish_seen_subcommand_from alarms help" -l plan -d 'Plan of a brew for the dry run; without it one that fits the tun' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand commission; and not __fish_seen_subcommand_from alarms help" -l leave-out -d 'Leaves parts out; their lines are not done' -r -f -a "instruments\t''
loop-checks\t''
alarms\t''
dry-run\t''"
complete -c lauterd -n "__fish_lauterd_using_subcommand commission; and not __fish_seen_subcommand_from alarms help" -l to -d 'Writes the sheet as well: .html to print and sign, .json, or text' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand commission; and not __fish_seen_subcommand_from alarms help" -l broker -d 'The broker; without it that of --config' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand commission; and not __fish_seen_subcommand_from alarms help" -l user -d 'User name at the broker' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand commission; and not __fish_seen_subcommand_from alarms help" -l password-file -d 'File with the user\'s password, in one line' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand commission; and not __fish_seen_subcommand_from alarms help" -l ca-file -d 'PEM file of the authority that signed the broker\'s certificate; without it the system\'s are trusted' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand commission; and not __fish_seen_subcommand_from alarms help" -l speed -d 'Simulated seconds in a second, for alarms and dry run' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand commission; and not __fish_seen_subcommand_from alarms help" -l no-questions -d 'Asks nothing, also on a terminal'
complete -c lauterd -n "__fish_lauterd_using_subcommand commission; and not __fish_seen_subcommand_from alarms help" -l tls -d 'Encrypts the connection'
complete -c lauterd -n "__fish_lauterd_using_subcommand commission; and not __fish_seen_subcommand_from alarms help" -s h -l help -d 'Print help (see more with \'--help\')'
complete -c lauterd -n "__fish_lauterd_using_subcommand commission; and not __fish_seen_subcommand_from alarms help" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand commission; and not __fish_seen_subcommand_from alarms help" -f -a "alarms" -d 'Provokes every alarm on simulated brewhouses and sees it arrive at a broker'
complete -c lauterd -n "__fish_lauterd_using_subcommand commission; and not __fish_seen_subcommand_from alarms help" -f -a "help" -d 'Print this message or the help of the given subcommand(s)'
complete -c lauterd -n "__fish_lauterd_using_subcommand commission; and __fish_seen_subcommand_from alarms" -l config -d 'Configuration of the tun; without it the demonstration\'s brewhouse, which can show every alarm' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand commission; and __fish_seen_subcommand_from alarms" -l broker -d 'The broker; without it that of --config' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand commission; and __fish_seen_subcommand_from alarms" -l user -d 'User name at the broker' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand commission; and __fish_seen_subcommand_from alarms" -l password-file -d 'File with the user\'s password, in one line' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand commission; and __fish_seen_subcommand_from alarms" -l ca-file -d 'PEM file of the authority that signed the broker\'s certificate; without it the system\'s are trusted' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand commission; and __fish_seen_subcommand_from alarms" -l speed -d 'Simulated seconds in a second' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand commission; and __fish_seen_subcommand_from alarms" -l tls -d 'Encrypts the connection'
complete -c lauterd -n "__fish_lauterd_using_subcommand commission; and __fish_seen_subcommand_from alarms" -s h -l help -d 'Print help (see more with \'--help\')'
complete -c lauterd -n "__fish_lauterd_using_subcommand commission; and __fish_seen_subcommand_from alarms" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand commission; and __fish_seen_subcommand_from help" -f -a "alarms" -d 'Provokes every alarm on simulated brewhouses and sees it arrive at a broker'
complete -c lauterd -n "__fish_lauterd_using_subcommand commission; and __fish_seen_subcommand_from help" -f -a "help" -d 'Print this message or the help of the given subcommand(s)'
complete -c lauterd -n "__fish_lauterd_using_subcommand run" -l config -d 'Configuration of a tun; may stand several times' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand run" -l speed -d 'Seconds of the watch in one real second, for a simulated brewhouse that runs as fast (simulators serve --speed)' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand run" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand run" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and not __fish_seen_subcommand_from start end list table export help" -l config -d 'The service\'s configuration file: its [web] listen, site and tun are used' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and not __fish_seen_subcommand_from start end list table export help" -l url -d 'Address of the service [default: http://127.0.0.1:8780]' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and not __fish_seen_subcommand_from start end list table export help" -l token-file -d 'File with the token this command is known by [default: lauterd/token in the configuration directory of the user, if it is there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and not __fish_seen_subcommand_from start end list table export help" -l ca-file -d 'PEM file of the authority that signed the service\'s certificate [default: the system\'s authorities; with --config also the certificate named there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and not __fish_seen_subcommand_from start end list table export help" -l tun -d 'The tun, when the service serves several' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and not __fish_seen_subcommand_from start end list table export help" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and not __fish_seen_subcommand_from start end list table export help" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and not __fish_seen_subcommand_from start end list table export help" -f -a "start" -d 'Starts a brew with its run-off plan'
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and not __fish_seen_subcommand_from start end list table export help" -f -a "end" -d 'Ends the brew under way'
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and not __fish_seen_subcommand_from start end list table export help" -f -a "list" -d 'Lists the brews of the record, newest first'
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and not __fish_seen_subcommand_from start end list table export help" -f -a "table" -d 'Shows the brewer\'s table of a brew, by default of the newest'
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and not __fish_seen_subcommand_from start end list table export help" -f -a "export" -d 'Writes a brew\'s record into a directory: plan, readings, samples, corrections, gaps, table, alarms and lines'
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and not __fish_seen_subcommand_from start end list table export help" -f -a "help" -d 'Print this message or the help of the given subcommand(s)'
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from start" -l plan -d 'Run-off plan (TOML)' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from start" -l config -d 'The service\'s configuration file: its [web] listen, site and tun are used' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from start" -l url -d 'Address of the service [default: http://127.0.0.1:8780]' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from start" -l token-file -d 'File with the token this command is known by [default: lauterd/token in the configuration directory of the user, if it is there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from start" -l ca-file -d 'PEM file of the authority that signed the service\'s certificate [default: the system\'s authorities; with --config also the certificate named there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from start" -l tun -d 'The tun, when the service serves several' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from start" -l replace -d 'Remove an earlier brew of the same id from the record'
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from start" -s h -l help -d 'Print help (see more with \'--help\')'
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from start" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from end" -l config -d 'The service\'s configuration file: its [web] listen, site and tun are used' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from end" -l url -d 'Address of the service [default: http://127.0.0.1:8780]' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from end" -l token-file -d 'File with the token this command is known by [default: lauterd/token in the configuration directory of the user, if it is there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from end" -l ca-file -d 'PEM file of the authority that signed the service\'s certificate [default: the system\'s authorities; with --config also the certificate named there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from end" -l tun -d 'The tun, when the service serves several' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from end" -s h -l help -d 'Print help (see more with \'--help\')'
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from end" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from list" -l limit -d 'How many at most' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from list" -l config -d 'The service\'s configuration file: its [web] listen, site and tun are used' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from list" -l url -d 'Address of the service [default: http://127.0.0.1:8780]' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from list" -l token-file -d 'File with the token this command is known by [default: lauterd/token in the configuration directory of the user, if it is there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from list" -l ca-file -d 'PEM file of the authority that signed the service\'s certificate [default: the system\'s authorities; with --config also the certificate named there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from list" -l tun -d 'The tun, when the service serves several' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from list" -l json -d 'As JSON'
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from list" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from list" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from table" -l config -d 'The service\'s configuration file: its [web] listen, site and tun are used' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from table" -l url -d 'Address of the service [default: http://127.0.0.1:8780]' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from table" -l token-file -d 'File with the token this command is known by [default: lauterd/token in the configuration directory of the user, if it is there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from table" -l ca-file -d 'PEM file of the authority that signed the service\'s certificate [default: the system\'s authorities; with --config also the certificate named there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from table" -l tun -d 'The tun, when the service serves several' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from table" -l json -d 'As JSON, one object for each row'
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from table" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from table" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from export" -l into -d 'Directory for the files; made if it is not there' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from export" -l config -d 'The service\'s configuration file: its [web] listen, site and tun are used' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from export" -l url -d 'Address of the service [default: http://127.0.0.1:8780]' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from export" -l token-file -d 'File with the token this command is known by [default: lauterd/token in the configuration directory of the user, if it is there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from export" -l ca-file -d 'PEM file of the authority that signed the service\'s certificate [default: the system\'s authorities; with --config also the certificate named there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from export" -l tun -d 'The tun, when the service serves several' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from export" -s h -l help -d 'Print help (see more with \'--help\')'
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from export" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from help" -f -a "start" -d 'Starts a brew with its run-off plan'
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from help" -f -a "end" -d 'Ends the brew under way'
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from help" -f -a "list" -d 'Lists the brews of the record, newest first'
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from help" -f -a "table" -d 'Shows the brewer\'s table of a brew, by default of the newest'
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from help" -f -a "export" -d 'Writes a brew\'s record into a directory: plan, readings, samples, corrections, gaps, table, alarms and lines'
complete -c lauterd -n "__fish_lauterd_using_subcommand brew; and __fish_seen_subcommand_from help" -f -a "help" -d 'Print this message or the help of the given subcommand(s)'
complete -c lauterd -n "__fish_lauterd_using_subcommand sample; and not __fish_seen_subcommand_from withdraw help" -l place -d 'Where it was taken' -r -f -a "runnings\t'The wort leaving the tun'
kettle\t'The kettle, well mixed'"
complete -c lauterd -n "__fish_lauterd_using_subcommand sample; and not __fish_seen_subcommand_from withdraw help" -l gravity -d 'Gravity, °P at 20 °C' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand sample; and not __fish_seen_subcommand_from withdraw help" -l ph -d 'pH of the cooled sample' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand sample; and not __fish_seen_subcommand_from withdraw help" -l volume -d 'Volume read at the kettle, L as metered' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand sample; and not __fish_seen_subcommand_from withdraw help" -l config -d 'The service\'s configuration file: its [web] listen, site and tun are used' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand sample; and not __fish_seen_subcommand_from withdraw help" -l url -d 'Address of the service [default: http://127.0.0.1:8780]' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand sample; and not __fish_seen_subcommand_from withdraw help" -l token-file -d 'File with the token this command is known by [default: lauterd/token in the configuration directory of the user, if it is there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand sample; and not __fish_seen_subcommand_from withdraw help" -l ca-file -d 'PEM file of the authority that signed the service\'s certificate [default: the system\'s authorities; with --config also the certificate named there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand sample; and not __fish_seen_subcommand_from withdraw help" -l tun -d 'The tun, when the service serves several' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand sample; and not __fish_seen_subcommand_from withdraw help" -s h -l help -d 'Print help (see more with \'--help\')'
complete -c lauterd -n "__fish_lauterd_using_subcommand sample; and not __fish_seen_subcommand_from withdraw help" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand sample; and not __fish_seen_subcommand_from withdraw help" -f -a "withdraw" -d 'Takes a hand sample back that was a slip: it counts no more'
complete -c lauterd -n "__fish_lauterd_using_subcommand sample; and not __fish_seen_subcommand_from withdraw help" -f -a "help" -d 'Print this message or the help of the given subcommand(s)'
complete -c lauterd -n "__fish_lauterd_using_subcommand sample; and __fish_seen_subcommand_from withdraw" -l config -d 'The service\'s configuration file: its [web] listen, site and tun are used' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand sample; and __fish_seen_subcommand_from withdraw" -l url -d 'Address of the service [default: http://127.0.0.1:8780]' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand sample; and __fish_seen_subcommand_from withdraw" -l token-file -d 'File with the token this command is known by [default: lauterd/token in the configuration directory of the user, if it is there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand sample; and __fish_seen_subcommand_from withdraw" -l ca-file -d 'PEM file of the authority that signed the service\'s certificate [default: the system\'s authorities; with --config also the certificate named there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand sample; and __fish_seen_subcommand_from withdraw" -l tun -d 'The tun, when the service serves several' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand sample; and __fish_seen_subcommand_from withdraw" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand sample; and __fish_seen_subcommand_from withdraw" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand sample; and __fish_seen_subcommand_from help" -f -a "withdraw" -d 'Takes a hand sample back that was a slip: it counts no more'
complete -c lauterd -n "__fish_lauterd_using_subcommand sample; and __fish_seen_subcommand_from help" -f -a "help" -d 'Print this message or the help of the given subcommand(s)'
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and not __fish_seen_subcommand_from guide enter list certificate correct take-back due help" -l config -d 'The service\'s configuration file: its [web] listen, site and tun are used' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and not __fish_seen_subcommand_from guide enter list certificate correct take-back due help" -l url -d 'Address of the service [default: http://127.0.0.1:8780]' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and not __fish_seen_subcommand_from guide enter list certificate correct take-back due help" -l token-file -d 'File with the token this command is known by [default: lauterd/token in the configuration directory of the user, if it is there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and not __fish_seen_subcommand_from guide enter list certificate correct take-back due help" -l ca-file -d 'PEM file of the authority that signed the service\'s certificate [default: the system\'s authorities; with --config also the certificate named there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and not __fish_seen_subcommand_from guide enter list certificate correct take-back due help" -l tun -d 'The tun, when the service serves several' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and not __fish_seen_subcommand_from guide enter list certificate correct take-back due help" -s h -l help -d 'Print help (see more with \'--help\')'
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and not __fish_seen_subcommand_from guide enter list certificate correct take-back due help" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and not __fish_seen_subcommand_from guide enter list certificate correct take-back due help" -f -a "guide" -d 'Leads through a loop check: asks for each applied value, takes the readings, says pass or fail'
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and not __fish_seen_subcommand_from guide enter list certificate correct take-back due help" -f -a "enter" -d 'Enters a loop check that was written down: a file of JSON'
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and not __fish_seen_subcommand_from guide enter list certificate correct take-back due help" -f -a "list" -d 'The loop checks of the record, newest last'
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and not __fish_seen_subcommand_from guide enter list certificate correct take-back due help" -f -a "certificate" -d 'The certificate of a loop check'
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and not __fish_seen_subcommand_from guide enter list certificate correct take-back due help" -f -a "correct" -d 'Corrects a pH or gravity instrument from now on by applied values'
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and not __fish_seen_subcommand_from guide enter list certificate correct take-back due help" -f -a "take-back" -d 'Lets an instrument\'s readings pass as they come; the versions before stay in the record'
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and not __fish_seen_subcommand_from guide enter list certificate correct take-back due help" -f -a "due" -d 'Corrections in force, and which instruments are due'
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and not __fish_seen_subcommand_from guide enter list certificate correct take-back due help" -f -a "help" -d 'Print this message or the help of the given subcommand(s)'
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from guide" -l instrument -d 'The instrument' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from guide" -l tolerance -d 'Greatest error allowed either way, in the instrument\'s unit' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from guide" -l reference -d 'What it is held against: which one, its certificate, its lot' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from guide" -l uncertainty -d 'Expanded uncertainty (k = 2) of the reference, in the instrument\'s unit' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from guide" -l temperature-uncertainty -d 'Expanded uncertainty (k = 2) of the reference\'s temperature, K' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from guide" -l resolution -d 'Least step of the reading, in the instrument\'s unit' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from guide" -l method -d 'How it is checked [default: buffers for pH, gravity for gravity, weighed-tank for flow, else values]' -r -f -a "values\t'0, 25, 50, 75 and 100 % of the range, up and down'
buffers\t'Phosphate and phthalate at the temperature they have'
gravity\t'Solutions or hand samples of known gravity'
weighed-tank\t'Water into a tank on a scale'
sample-ph\t'Hand samples of pH, cooled, while wort runs'"
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from guide" -l repeats -d 'How often every applied value is approached; two and more show the repeatability' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from guide" -l seconds -d 'Seconds over which a reading is taken, one a second' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from guide" -l note -d 'Words for the certificate' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from guide" -l due-days -d 'Days to the next check [default: 30 for pH, 182 for gravity and turbidity, 365 for others]' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from guide" -l who -d 'Who does it, where nobody signs in' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from guide" -l config -d 'The service\'s configuration file: its [web] listen, site and tun are used' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from guide" -l url -d 'Address of the service [default: http://127.0.0.1:8780]' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from guide" -l token-file -d 'File with the token this command is known by [default: lauterd/token in the configuration directory of the user, if it is there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from guide" -l ca-file -d 'PEM file of the authority that signed the service\'s certificate [default: the system\'s authorities; with --config also the certificate named there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from guide" -l tun -d 'The tun, when the service serves several' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from guide" -s h -l help -d 'Print help (see more with \'--help\')'
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from guide" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from enter" -l config -d 'The service\'s configuration file: its [web] listen, site and tun are used' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from enter" -l url -d 'Address of the service [default: http://127.0.0.1:8780]' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from enter" -l token-file -d 'File with the token this command is known by [default: lauterd/token in the configuration directory of the user, if it is there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from enter" -l ca-file -d 'PEM file of the authority that signed the service\'s certificate [default: the system\'s authorities; with --config also the certificate named there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from enter" -l tun -d 'The tun, when the service serves several' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from enter" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from enter" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from list" -l instrument -d 'Only of this instrument' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from list" -l config -d 'The service\'s configuration file: its [web] listen, site and tun are used' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from list" -l url -d 'Address of the service [default: http://127.0.0.1:8780]' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from list" -l token-file -d 'File with the token this command is known by [default: lauterd/token in the configuration directory of the user, if it is there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from list" -l ca-file -d 'PEM file of the authority that signed the service\'s certificate [default: the system\'s authorities; with --config also the certificate named there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from list" -l tun -d 'The tun, when the service serves several' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from list" -l json -d 'As JSON'
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from list" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from list" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from certificate" -l format -d 'html: to read and to print; csv: its levels; json: everything [default: as --output ends, else html]' -r -f -a "html\t''
csv\t''
json\t''"
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from certificate" -l output -d 'File to write; without it standard output' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from certificate" -l config -d 'The service\'s configuration file: its [web] listen, site and tun are used' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from certificate" -l url -d 'Address of the service [default: http://127.0.0.1:8780]' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from certificate" -l token-file -d 'File with the token this command is known by [default: lauterd/token in the configuration directory of the user, if it is there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from certificate" -l ca-file -d 'PEM file of the authority that signed the service\'s certificate [default: the system\'s authorities; with --config also the certificate named there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from certificate" -l tun -d 'The tun, when the service serves several' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from certificate" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from certificate" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from correct" -l instrument -d 'The instrument' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from correct" -l point -d 'What was applied and what the instrument read before any correction: BUFFER@C=READING, GRAVITYP@C=READING or VALUE=READING; once or more often' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from correct" -l due-days -d 'Days to the next check [default: 30 for pH, 182 for gravity and turbidity, 365 for others]' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from correct" -l who -d 'Who does it, where nobody signs in' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from correct" -l config -d 'The service\'s configuration file: its [web] listen, site and tun are used' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from correct" -l url -d 'Address of the service [default: http://127.0.0.1:8780]' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from correct" -l token-file -d 'File with the token this command is known by [default: lauterd/token in the configuration directory of the user, if it is there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from correct" -l ca-file -d 'PEM file of the authority that signed the service\'s certificate [default: the system\'s authorities; with --config also the certificate named there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from correct" -l tun -d 'The tun, when the service serves several' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from correct" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from correct" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from take-back" -l instrument -d 'The instrument' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from take-back" -l who -d 'Who does it, where nobody signs in' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from take-back" -l config -d 'The service\'s configuration file: its [web] listen, site and tun are used' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from take-back" -l url -d 'Address of the service [default: http://127.0.0.1:8780]' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from take-back" -l token-file -d 'File with the token this command is known by [default: lauterd/token in the configuration directory of the user, if it is there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from take-back" -l ca-file -d 'PEM file of the authority that signed the service\'s certificate [default: the system\'s authorities; with --config also the certificate named there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from take-back" -l tun -d 'The tun, when the service serves several' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from take-back" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from take-back" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from due" -l config -d 'The service\'s configuration file: its [web] listen, site and tun are used' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from due" -l url -d 'Address of the service [default: http://127.0.0.1:8780]' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from due" -l token-file -d 'File with the token this command is known by [default: lauterd/token in the configuration directory of the user, if it is there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from due" -l ca-file -d 'PEM file of the authority that signed the service\'s certificate [default: the system\'s authorities; with --config also the certificate named there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from due" -l tun -d 'The tun, when the service serves several' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from due" -l json -d 'As JSON'
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from due" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from due" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from help" -f -a "guide" -d 'Leads through a loop check: asks for each applied value, takes the readings, says pass or fail'
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from help" -f -a "enter" -d 'Enters a loop check that was written down: a file of JSON'
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from help" -f -a "list" -d 'The loop checks of the record, newest last'
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from help" -f -a "certificate" -d 'The certificate of a loop check'
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from help" -f -a "correct" -d 'Corrects a pH or gravity instrument from now on by applied values'
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from help" -f -a "take-back" -d 'Lets an instrument\'s readings pass as they come; the versions before stay in the record'
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from help" -f -a "due" -d 'Corrections in force, and which instruments are due'
complete -c lauterd -n "__fish_lauterd_using_subcommand loop-check; and __fish_seen_subcommand_from help" -f -a "help" -d 'Print this message or the help of the given subcommand(s)'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and not __fish_seen_subcommand_from list report trail acknowledge shelve unshelve out-of-service return help" -l config -d 'The service\'s configuration file: its [web] listen, site and tun are used' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and not __fish_seen_subcommand_from list report trail acknowledge shelve unshelve out-of-service return help" -l url -d 'Address of the service [default: http://127.0.0.1:8780]' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and not __fish_seen_subcommand_from list report trail acknowledge shelve unshelve out-of-service return help" -l token-file -d 'File with the token this command is known by [default: lauterd/token in the configuration directory of the user, if it is there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and not __fish_seen_subcommand_from list report trail acknowledge shelve unshelve out-of-service return help" -l ca-file -d 'PEM file of the authority that signed the service\'s certificate [default: the system\'s authorities; with --config also the certificate named there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and not __fish_seen_subcommand_from list report trail acknowledge shelve unshelve out-of-service return help" -l tun -d 'The tun, when the service serves several' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and not __fish_seen_subcommand_from list report trail acknowledge shelve unshelve out-of-service return help" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and not __fish_seen_subcommand_from list report trail acknowledge shelve unshelve out-of-service return help" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and not __fish_seen_subcommand_from list report trail acknowledge shelve unshelve out-of-service return help" -f -a "list" -d 'Every alarm: cause, response, consequence, caution, delays and what suppresses it. Needs no service; with --config it shows what that tun has changed'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and not __fish_seen_subcommand_from list report trail acknowledge shelve unshelve out-of-service return help" -f -a "report" -d 'How the alarms behaved, beside the benchmarks of EEMUA 191 and ISA-18.2. With --config it reads the record, whether or not a service runs'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and not __fish_seen_subcommand_from list report trail acknowledge shelve unshelve out-of-service return help" -f -a "trail" -d 'Every change of an alarm: when, what, who and why'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and not __fish_seen_subcommand_from list report trail acknowledge shelve unshelve out-of-service return help" -f -a "acknowledge" -d 'Tells that the alarm has been seen'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and not __fish_seen_subcommand_from list report trail acknowledge shelve unshelve out-of-service return help" -f -a "shelve" -d 'Keeps the alarm quiet for some minutes; then it returns by itself'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and not __fish_seen_subcommand_from list report trail acknowledge shelve unshelve out-of-service return help" -f -a "unshelve" -d 'Takes the alarm from the shelf before its time'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and not __fish_seen_subcommand_from list report trail acknowledge shelve unshelve out-of-service return help" -f -a "out-of-service" -d 'Takes the alarm out of service until it is returned'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and not __fish_seen_subcommand_from list report trail acknowledge shelve unshelve out-of-service return help" -f -a "return" -d 'Returns the alarm to service'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and not __fish_seen_subcommand_from list report trail acknowledge shelve unshelve out-of-service return help" -f -a "help" -d 'Print this message or the help of the given subcommand(s)'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from list" -l config -d 'The service\'s configuration file: its [web] listen, site and tun are used' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from list" -l url -d 'Address of the service [default: http://127.0.0.1:8780]' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from list" -l token-file -d 'File with the token this command is known by [default: lauterd/token in the configuration directory of the user, if it is there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from list" -l ca-file -d 'PEM file of the authority that signed the service\'s certificate [default: the system\'s authorities; with --config also the certificate named there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from list" -l tun -d 'The tun, when the service serves several' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from list" -l json -d 'As JSON'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from list" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from list" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from report" -l brew -d 'One brew alone' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from report" -l days -d 'How many days back' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from report" -l store -d 'Directory of the record [default: the configuration\'s]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from report" -l config -d 'The service\'s configuration file: its [web] listen, site and tun are used' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from report" -l url -d 'Address of the service [default: http://127.0.0.1:8780]' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from report" -l token-file -d 'File with the token this command is known by [default: lauterd/token in the configuration directory of the user, if it is there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from report" -l ca-file -d 'PEM file of the authority that signed the service\'s certificate [default: the system\'s authorities; with --config also the certificate named there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from report" -l tun -d 'The tun, when the service serves several' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from report" -l json -d 'As JSON'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from report" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from report" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from trail" -l brew -d 'One brew alone' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from trail" -l days -d 'How many days back' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from trail" -l store -d 'Directory of the record [default: the configuration\'s]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from trail" -l config -d 'The service\'s configuration file: its [web] listen, site and tun are used' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from trail" -l url -d 'Address of the service [default: http://127.0.0.1:8780]' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from trail" -l token-file -d 'File with the token this command is known by [default: lauterd/token in the configuration directory of the user, if it is there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from trail" -l ca-file -d 'PEM file of the authority that signed the service\'s certificate [default: the system\'s authorities; with --config also the certificate named there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from trail" -l tun -d 'The tun, when the service serves several' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from trail" -l json -d 'As JSON'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from trail" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from trail" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from acknowledge" -l instrument -d 'The instrument, link or publisher, for alarms that have one' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from acknowledge" -l who -d 'Who asks, for the record' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from acknowledge" -l config -d 'The service\'s configuration file: its [web] listen, site and tun are used' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from acknowledge" -l url -d 'Address of the service [default: http://127.0.0.1:8780]' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from acknowledge" -l token-file -d 'File with the token this command is known by [default: lauterd/token in the configuration directory of the user, if it is there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from acknowledge" -l ca-file -d 'PEM file of the authority that signed the service\'s certificate [default: the system\'s authorities; with --config also the certificate named there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from acknowledge" -l tun -d 'The tun, when the service serves several' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from acknowledge" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from acknowledge" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from shelve" -l instrument -d 'The instrument, link or publisher, for alarms that have one' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from shelve" -l who -d 'Who asks, for the record' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from shelve" -l minutes -d 'For how long, minutes' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from shelve" -l reason -d 'Why, for the record' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from shelve" -l config -d 'The service\'s configuration file: its [web] listen, site and tun are used' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from shelve" -l url -d 'Address of the service [default: http://127.0.0.1:8780]' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from shelve" -l token-file -d 'File with the token this command is known by [default: lauterd/token in the configuration directory of the user, if it is there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from shelve" -l ca-file -d 'PEM file of the authority that signed the service\'s certificate [default: the system\'s authorities; with --config also the certificate named there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from shelve" -l tun -d 'The tun, when the service serves several' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from shelve" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from shelve" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from unshelve" -l instrument -d 'The instrument, link or publisher, for alarms that have one' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from unshelve" -l who -d 'Who asks, for the record' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from unshelve" -l config -d 'The service\'s configuration file: its [web] listen, site and tun are used' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from unshelve" -l url -d 'Address of the service [default: http://127.0.0.1:8780]' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from unshelve" -l token-file -d 'File with the token this command is known by [default: lauterd/token in the configuration directory of the user, if it is there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from unshelve" -l ca-file -d 'PEM file of the authority that signed the service\'s certificate [default: the system\'s authorities; with --config also the certificate named there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from unshelve" -l tun -d 'The tun, when the service serves several' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from unshelve" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from unshelve" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from out-of-service" -l instrument -d 'The instrument, link or publisher, for alarms that have one' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from out-of-service" -l who -d 'Who asks, for the record' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from out-of-service" -l reason -d 'Why, for the record' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from out-of-service" -l config -d 'The service\'s configuration file: its [web] listen, site and tun are used' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from out-of-service" -l url -d 'Address of the service [default: http://127.0.0.1:8780]' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from out-of-service" -l token-file -d 'File with the token this command is known by [default: lauterd/token in the configuration directory of the user, if it is there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from out-of-service" -l ca-file -d 'PEM file of the authority that signed the service\'s certificate [default: the system\'s authorities; with --config also the certificate named there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from out-of-service" -l tun -d 'The tun, when the service serves several' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from out-of-service" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from out-of-service" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from return" -l instrument -d 'The instrument, link or publisher, for alarms that have one' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from return" -l who -d 'Who asks, for the record' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from return" -l config -d 'The service\'s configuration file: its [web] listen, site and tun are used' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from return" -l url -d 'Address of the service [default: http://127.0.0.1:8780]' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from return" -l token-file -d 'File with the token this command is known by [default: lauterd/token in the configuration directory of the user, if it is there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from return" -l ca-file -d 'PEM file of the authority that signed the service\'s certificate [default: the system\'s authorities; with --config also the certificate named there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from return" -l tun -d 'The tun, when the service serves several' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from return" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from return" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from help" -f -a "list" -d 'Every alarm: cause, response, consequence, caution, delays and what suppresses it. Needs no service; with --config it shows what that tun has changed'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from help" -f -a "report" -d 'How the alarms behaved, beside the benchmarks of EEMUA 191 and ISA-18.2. With --config it reads the record, whether or not a service runs'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from help" -f -a "trail" -d 'Every change of an alarm: when, what, who and why'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from help" -f -a "acknowledge" -d 'Tells that the alarm has been seen'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from help" -f -a "shelve" -d 'Keeps the alarm quiet for some minutes; then it returns by itself'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from help" -f -a "unshelve" -d 'Takes the alarm from the shelf before its time'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from help" -f -a "out-of-service" -d 'Takes the alarm out of service until it is returned'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from help" -f -a "return" -d 'Returns the alarm to service'
complete -c lauterd -n "__fish_lauterd_using_subcommand alarms; and __fish_seen_subcommand_from help" -f -a "help" -d 'Print this message or the help of the given subcommand(s)'
complete -c lauterd -n "__fish_lauterd_using_subcommand status" -l config -d 'The service\'s configuration file: its [web] listen, site and tun are used' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand status" -l url -d 'Address of the service [default: http://127.0.0.1:8780]' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand status" -l token-file -d 'File with the token this command is known by [default: lauterd/token in the configuration directory of the user, if it is there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand status" -l ca-file -d 'PEM file of the authority that signed the service\'s certificate [default: the system\'s authorities; with --config also the certificate named there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand status" -l tun -d 'The tun, when the service serves several' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand status" -l json -d 'As JSON, one object for each tun'
complete -c lauterd -n "__fish_lauterd_using_subcommand status" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand status" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand tun; and not __fish_seen_subcommand_from show history export reset help" -l config -d 'Configuration of the tun' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand tun; and not __fish_seen_subcommand_from show history export reset help" -l store -d 'Directory of the record [default: the configuration\'s]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand tun; and not __fish_seen_subcommand_from show history export reset help" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand tun; and not __fish_seen_subcommand_from show history export reset help" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand tun; and not __fish_seen_subcommand_from show history export reset help" -f -a "show" -d 'The tun\'s typical figures, and which brews taught them'
complete -c lauterd -n "__fish_lauterd_using_subcommand tun; and not __fish_seen_subcommand_from show history export reset help" -f -a "history" -d 'Every version of the profile, newest first'
complete -c lauterd -n "__fish_lauterd_using_subcommand tun; and not __fish_seen_subcommand_from show history export reset help" -f -a "export" -d 'The profile as JSON'
complete -c lauterd -n "__fish_lauterd_using_subcommand tun; and not __fish_seen_subcommand_from show history export reset help" -f -a "reset" -d 'Begins a new profile; the versions before it stay in the record'
complete -c lauterd -n "__fish_lauterd_using_subcommand tun; and not __fish_seen_subcommand_from show history export reset help" -f -a "help" -d 'Print this message or the help of the given subcommand(s)'
complete -c lauterd -n "__fish_lauterd_using_subcommand tun; and __fish_seen_subcommand_from show" -l config -d 'Configuration of the tun' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand tun; and __fish_seen_subcommand_from show" -l store -d 'Directory of the record [default: the configuration\'s]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand tun; and __fish_seen_subcommand_from show" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand tun; and __fish_seen_subcommand_from show" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand tun; and __fish_seen_subcommand_from history" -l config -d 'Configuration of the tun' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand tun; and __fish_seen_subcommand_from history" -l store -d 'Directory of the record [default: the configuration\'s]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand tun; and __fish_seen_subcommand_from history" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand tun; and __fish_seen_subcommand_from history" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand tun; and __fish_seen_subcommand_from export" -l config -d 'Configuration of the tun' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand tun; and __fish_seen_subcommand_from export" -l store -d 'Directory of the record [default: the configuration\'s]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand tun; and __fish_seen_subcommand_from export" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand tun; and __fish_seen_subcommand_from export" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand tun; and __fish_seen_subcommand_from reset" -l config -d 'Configuration of the tun' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand tun; and __fish_seen_subcommand_from reset" -l store -d 'Directory of the record [default: the configuration\'s]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand tun; and __fish_seen_subcommand_from reset" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand tun; and __fish_seen_subcommand_from reset" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand tun; and __fish_seen_subcommand_from help" -f -a "show" -d 'The tun\'s typical figures, and which brews taught them'
complete -c lauterd -n "__fish_lauterd_using_subcommand tun; and __fish_seen_subcommand_from help" -f -a "history" -d 'Every version of the profile, newest first'
complete -c lauterd -n "__fish_lauterd_using_subcommand tun; and __fish_seen_subcommand_from help" -f -a "export" -d 'The profile as JSON'
complete -c lauterd -n "__fish_lauterd_using_subcommand tun; and __fish_seen_subcommand_from help" -f -a "reset" -d 'Begins a new profile; the versions before it stay in the record'
complete -c lauterd -n "__fish_lauterd_using_subcommand tun; and __fish_seen_subcommand_from help" -f -a "help" -d 'Print this message or the help of the given subcommand(s)'
complete -c lauterd -n "__fish_lauterd_using_subcommand user; and not __fish_seen_subcommand_from add remove list help" -l config -d 'The service\'s configuration: its [web] users_file is used [default: /etc/lauterd/lauterd.toml]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand user; and not __fish_seen_subcommand_from add remove list help" -l users-file -d 'The users\' file itself' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand user; and not __fish_seen_subcommand_from add remove list help" -s h -l help -d 'Print help (see more with \'--help\')'
complete -c lauterd -n "__fish_lauterd_using_subcommand user; and not __fish_seen_subcommand_from add remove list help" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand user; and not __fish_seen_subcommand_from add remove list help" -f -a "add" -d 'Adds a person, or gives them a new password and role. The password is asked for; it may come on standard input'
complete -c lauterd -n "__fish_lauterd_using_subcommand user; and not __fish_seen_subcommand_from add remove list help" -f -a "remove" -d 'Removes a person'
complete -c lauterd -n "__fish_lauterd_using_subcommand user; and not __fish_seen_subcommand_from add remove list help" -f -a "list" -d 'Lists the people and their roles'
complete -c lauterd -n "__fish_lauterd_using_subcommand user; and not __fish_seen_subcommand_from add remove list help" -f -a "help" -d 'Print this message or the help of the given subcommand(s)'
complete -c lauterd -n "__fish_lauterd_using_subcommand user; and __fish_seen_subcommand_from add" -l role -d 'What they may do' -r -f -a "watch\t'Sees everything, changes nothing'
operate\t'Starts and ends brews, gives samples and notes, answers alarms'
engineer\t'Takes alarms out of service, resets what was learnt'"
complete -c lauterd -n "__fish_lauterd_using_subcommand user; and __fish_seen_subcommand_from add" -l config -d 'The service\'s configuration: its [web] users_file is used [default: /etc/lauterd/lauterd.toml]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand user; and __fish_seen_subcommand_from add" -l users-file -d 'The users\' file itself' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand user; and __fish_seen_subcommand_from add" -s h -l help -d 'Print help (see more with \'--help\')'
complete -c lauterd -n "__fish_lauterd_using_subcommand user; and __fish_seen_subcommand_from add" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand user; and __fish_seen_subcommand_from remove" -l config -d 'The service\'s configuration: its [web] users_file is used [default: /etc/lauterd/lauterd.toml]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand user; and __fish_seen_subcommand_from remove" -l users-file -d 'The users\' file itself' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand user; and __fish_seen_subcommand_from remove" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand user; and __fish_seen_subcommand_from remove" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand user; and __fish_seen_subcommand_from list" -l config -d 'The service\'s configuration: its [web] users_file is used [default: /etc/lauterd/lauterd.toml]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand user; and __fish_seen_subcommand_from list" -l users-file -d 'The users\' file itself' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand user; and __fish_seen_subcommand_from list" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand user; and __fish_seen_subcommand_from list" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand user; and __fish_seen_subcommand_from help" -f -a "add" -d 'Adds a person, or gives them a new password and role. The password is asked for; it may come on standard input'
complete -c lauterd -n "__fish_lauterd_using_subcommand user; and __fish_seen_subcommand_from help" -f -a "remove" -d 'Removes a person'
complete -c lauterd -n "__fish_lauterd_using_subcommand user; and __fish_seen_subcommand_from help" -f -a "list" -d 'Lists the people and their roles'
complete -c lauterd -n "__fish_lauterd_using_subcommand user; and __fish_seen_subcommand_from help" -f -a "help" -d 'Print this message or the help of the given subcommand(s)'
complete -c lauterd -n "__fish_lauterd_using_subcommand token; and not __fish_seen_subcommand_from add remove list help" -l config -d 'The service\'s configuration: its [web] users_file is used [default: /etc/lauterd/lauterd.toml]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand token; and not __fish_seen_subcommand_from add remove list help" -l users-file -d 'The users\' file itself' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand token; and not __fish_seen_subcommand_from add remove list help" -s h -l help -d 'Print help (see more with \'--help\')'
complete -c lauterd -n "__fish_lauterd_using_subcommand token; and not __fish_seen_subcommand_from add remove list help" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand token; and not __fish_seen_subcommand_from add remove list help" -f -a "add" -d 'Makes a token and prints it'
complete -c lauterd -n "__fish_lauterd_using_subcommand token; and not __fish_seen_subcommand_from add remove list help" -f -a "remove" -d 'Removes a token'
complete -c lauterd -n "__fish_lauterd_using_subcommand token; and not __fish_seen_subcommand_from add remove list help" -f -a "list" -d 'Lists the tokens\' names, roles and ends'
complete -c lauterd -n "__fish_lauterd_using_subcommand token; and not __fish_seen_subcommand_from add remove list help" -f -a "help" -d 'Print this message or the help of the given subcommand(s)'
complete -c lauterd -n "__fish_lauterd_using_subcommand token; and __fish_seen_subcommand_from add" -l role -d 'What the program may do' -r -f -a "watch\t'Sees everything, changes nothing'
operate\t'Starts and ends brews, gives samples and notes, answers alarms'
engineer\t'Takes alarms out of service, resets what was learnt'"
complete -c lauterd -n "__fish_lauterd_using_subcommand token; and __fish_seen_subcommand_from add" -l days -d 'After so many days it is not taken any more' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand token; and __fish_seen_subcommand_from add" -l config -d 'The service\'s configuration: its [web] users_file is used [default: /etc/lauterd/lauterd.toml]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand token; and __fish_seen_subcommand_from add" -l users-file -d 'The users\' file itself' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand token; and __fish_seen_subcommand_from add" -s h -l help -d 'Print help (see more with \'--help\')'
complete -c lauterd -n "__fish_lauterd_using_subcommand token; and __fish_seen_subcommand_from add" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand token; and __fish_seen_subcommand_from remove" -l config -d 'The service\'s configuration: its [web] users_file is used [default: /etc/lauterd/lauterd.toml]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand token; and __fish_seen_subcommand_from remove" -l users-file -d 'The users\' file itself' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand token; and __fish_seen_subcommand_from remove" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand token; and __fish_seen_subcommand_from remove" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand token; and __fish_seen_subcommand_from list" -l config -d 'The service\'s configuration: its [web] users_file is used [default: /etc/lauterd/lauterd.toml]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand token; and __fish_seen_subcommand_from list" -l users-file -d 'The users\' file itself' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand token; and __fish_seen_subcommand_from list" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand token; and __fish_seen_subcommand_from list" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand token; and __fish_seen_subcommand_from help" -f -a "add" -d 'Makes a token and prints it'
complete -c lauterd -n "__fish_lauterd_using_subcommand token; and __fish_seen_subcommand_from help" -f -a "remove" -d 'Removes a token'
complete -c lauterd -n "__fish_lauterd_using_subcommand token; and __fish_seen_subcommand_from help" -f -a "list" -d 'Lists the tokens\' names, roles and ends'
complete -c lauterd -n "__fish_lauterd_using_subcommand token; and __fish_seen_subcommand_from help" -f -a "help" -d 'Print this message or the help of the given subcommand(s)'
complete -c lauterd -n "__fish_lauterd_using_subcommand report" -l format -d 'html: the whole report; csv: the brewer\'s table with hand samples; json: everything [default: as --output ends, else html]' -r -f -a "html\t''
csv\t''
json\t''"
complete -c lauterd -n "__fish_lauterd_using_subcommand report" -l chart -d 'One chart as SVG instead' -r -f -a "gravity\t''
bed\t''
ph\t''
stop-point\t''"
complete -c lauterd -n "__fish_lauterd_using_subcommand report" -l output -d 'File to write; without it standard output' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand report" -l config -d 'The service\'s configuration file: its [web] listen, site and tun are used' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand report" -l url -d 'Address of the service [default: http://127.0.0.1:8780]' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand report" -l token-file -d 'File with the token this command is known by [default: lauterd/token in the configuration directory of the user, if it is there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand report" -l ca-file -d 'PEM file of the authority that signed the service\'s certificate [default: the system\'s authorities; with --config also the certificate named there]' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand report" -l tun -d 'The tun, when the service serves several' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand report" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand report" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand record" -l config -d 'Configuration of the tun' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand record" -l to -d 'File to write; it must not be there yet' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand record" -l for -d 'Ends after so long; without it with Ctrl-C' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand record" -l limit -d 'Ends when the file has grown to this, MiB' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand record" -s h -l help -d 'Print help (see more with \'--help\')'
complete -c lauterd -n "__fish_lauterd_using_subcommand record" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand replay" -l config -d 'Configuration of the tun whose instruments were recorded; of a folder, for brews without a config.toml of their own' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand replay" -l plan -d 'Run-off plan of the brew' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand replay" -l data -d 'Recording: first column elapsed_s or time, the others instrument ids' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand replay" -l samples -d 'Hand samples: elapsed_s,place,gravity_p,ph,volume_l' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand replay" -l corrections -d 'Corrections of instruments, as `lauterd brew export` writes them: corrections.jsonl' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand replay" -l gaps -d 'Times in which nobody watched, as `lauterd brew export` writes them: gaps.csv' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand replay" -l store -d 'Directory of a store in which the brew is kept; made if it is not there. A folder\'s brews teach the tun one after the other' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand replay" -l results -d 'File for the lines instead of standard output; of a folder, a directory' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand replay" -l jobs -d 'Brews at a time; as many as there are processors unless given' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand replay" -s h -l help -d 'Print help (see more with \'--help\')'
complete -c lauterd -n "__fish_lauterd_using_subcommand replay" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand backup" -l config -d 'Configuration whose [store] directory is copied, or gets the copy back' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand backup" -l to -d 'Directory for the copy; it must hold no record yet' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand backup" -l restore -d 'Directory with a copy, to be put in place of the record; the service must be stopped' -r -F
complete -c lauterd -n "__fish_lauterd_using_subcommand backup" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand backup" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and not __fish_seen_subcommand_from convert density mix dilute contraction flow brew-length extract ph help" -l json -d 'Give the answer as JSON, unrounded'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and not __fish_seen_subcommand_from convert density mix dilute contraction flow brew-length extract ph help" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and not __fish_seen_subcommand_from convert density mix dilute contraction flow brew-length extract ph help" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and not __fish_seen_subcommand_from convert density mix dilute contraction flow brew-length extract ph help" -f -a "convert" -d 'Converts a gravity between °P, specific gravity, density and refractive °Bx'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and not __fish_seen_subcommand_from convert density mix dilute contraction flow brew-length extract ph help" -f -a "density" -d 'Density and viscosity of wort at a temperature'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and not __fish_seen_subcommand_from convert density mix dilute contraction flow brew-length extract ph help" -f -a "mix" -d 'Gravity and volume of worts put together'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and not __fish_seen_subcommand_from convert density mix dilute contraction flow brew-length extract ph help" -f -a "dilute" -d 'Top-up liquor that brings a wort down to a gravity'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and not __fish_seen_subcommand_from convert density mix dilute contraction flow brew-length extract ph help" -f -a "contraction" -d 'Volume of a wort after cooling or heating'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and not __fish_seen_subcommand_from convert density mix dilute contraction flow brew-length extract ph help" -f -a "flow" -d 'Mean flow for a run-off'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and not __fish_seen_subcommand_from convert density mix dilute contraction flow brew-length extract ph help" -f -a "brew-length" -d 'Wort volume at target gravity per kilogram of grist'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and not __fish_seen_subcommand_from convert density mix dilute contraction flow brew-length extract ph help" -f -a "extract" -d 'Extract in a wort'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and not __fish_seen_subcommand_from convert density mix dilute contraction flow brew-length extract ph help" -f -a "ph" -d 'pH of the same wort cooled to 20 °C and in the line'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and not __fish_seen_subcommand_from convert density mix dilute contraction flow brew-length extract ph help" -f -a "help" -d 'Print this message or the help of the given subcommand(s)'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from convert" -l from -d 'Unit of the value' -r -f -a "degP\t'% extract by mass'
sg\t'Apparent specific gravity 20/20 °C, in air'
kg/m3\t'Density at --temperature-c'
degBx\t'Refractometer reading at 20 °C'"
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from convert" -l to -d 'Unit wanted; without it, all of them' -r -f -a "degP\t'% extract by mass'
sg\t'Apparent specific gravity 20/20 °C, in air'
kg/m3\t'Density at --temperature-c'
degBx\t'Refractometer reading at 20 °C'"
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from convert" -l temperature-c -d 'Temperature of the wort, °C; needed for kg/m3' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from convert" -l wort-factor -d 'Refractometer °Bx over °P (common practice: about 1.04)' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from convert" -l json -d 'Give the answer as JSON, unrounded'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from convert" -s h -l help -d 'Print help (see more with \'--help\')'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from convert" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from density" -l gravity-p -d 'Gravity, °P' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from density" -l temperature-c -d 'Temperature, °C' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from density" -l json -d 'Give the answer as JSON, unrounded'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from density" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from density" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from mix" -l portion -d 'A wort by volume (L), gravity (°P) and temperature (°C); give at least two' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from mix" -l json -d 'Give the answer as JSON, unrounded'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from mix" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from mix" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from dilute" -l volume-l -d 'Wort there is, L at --temperature-c' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from dilute" -l gravity-p -d 'Its gravity, °P' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from dilute" -l temperature-c -d 'Its temperature, °C' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from dilute" -l target-gravity-p -d 'Gravity wanted, °P' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from dilute" -l liquor-temperature-c -d 'Temperature of the liquor, °C; without it, that of the wort' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from dilute" -l json -d 'Give the answer as JSON, unrounded'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from dilute" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from dilute" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from contraction" -l volume-l -d 'Volume, L at --from-c' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from contraction" -l gravity-p -d 'Gravity, °P' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from contraction" -l from-c -d 'Temperature the volume was measured at, °C' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from contraction" -l to-c -d 'Temperature wanted, °C' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from contraction" -l json -d 'Give the answer as JSON, unrounded'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from contraction" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from contraction" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from flow" -l volume-l -d 'Wort to run off, L' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from flow" -l minutes -d 'Duration, min' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from flow" -l json -d 'Give the answer as JSON, unrounded'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from flow" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from flow" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from brew-length" -l volume-l -d 'Wort in the kettle, L at --temperature-c' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from brew-length" -l gravity-p -d 'Its gravity, °P' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from brew-length" -l temperature-c -d 'Its temperature, °C' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from brew-length" -l grist-kg -d 'Grist, kg' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from brew-length" -l target-gravity-p -d 'Start-of-boil gravity, °P; without it, the gravity given' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from brew-length" -l json -d 'Give the answer as JSON, unrounded'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from brew-length" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from brew-length" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from extract" -l gravity-p -d 'Gravity, °P' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from extract" -l temperature-c -d 'Temperature the volume is measured at, °C' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from extract" -l volume-l -d 'Volume, L; adds the extract in all' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from extract" -l json -d 'Give the answer as JSON, unrounded'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from extract" -s h -l help -d 'Print help'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from extract" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from ph" -l ph -d 'The pH known' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from ph" -l basis -d 'Where that pH holds' -r -f -a "room\t'A sample cooled to 20 °C'
process\t'As read in the line at --temperature-c'"
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from ph" -l temperature-c -d 'Temperature in the line, °C' -r
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from ph" -l json -d 'Give the answer as JSON, unrounded'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from ph" -s h -l help -d 'Print help (see more with \'--help\')'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from ph" -s V -l version -d 'Print version'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from help" -f -a "convert" -d 'Converts a gravity between °P, specific gravity, density and refractive °Bx'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from help" -f -a "density" -d 'Density and viscosity of wort at a temperature'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from help" -f -a "mix" -d 'Gravity and volume of worts put together'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from help" -f -a "dilute" -d 'Top-up liquor that brings a wort down to a gravity'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from help" -f -a "contraction" -d 'Volume of a wort after cooling or heating'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from help" -f -a "flow" -d 'Mean flow for a run-off'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from help" -f -a "brew-length" -d 'Wort volume at target gravity per kilogram of grist'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from help" -f -a "extract" -d 'Extract in a wort'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from help" -f -a "ph" -d 'pH of the same wort cooled to 20 °C and in the line'
complete -c lauterd -n "__fish_lauterd_using_subcommand calc; and __fish_seen_subcommand_from help" -f -a "help" -d 'Print this message or the help of the given subcommand(s)'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and not __fish_seen_subcommand_from demo check-config probe commission run brew sample loop-check alarms status tun user token report record replay backup calc help" -f -a "demo" -d 'Shows the service at work on a simulated brewhouse, sixty times faster than life'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and not __fish_seen_subcommand_from demo check-config probe commission run brew sample loop-check alarms status tun user token report record replay backup calc help" -f -a "check-config" -d 'Checks configuration files: prints the resolved instruments, or everything that is wrong'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and not __fish_seen_subcommand_from demo check-config probe commission run brew sample loop-check alarms status tun user token report record replay backup calc help" -f -a "probe" -d 'Looks at instruments that are not described yet: Modbus units, their registers, MQTT topics'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and not __fish_seen_subcommand_from demo check-config probe commission run brew sample loop-check alarms status tun user token report record replay backup calc help" -f -a "commission" -d 'Walks through the commissioning of a tun and writes the acceptance sheet'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and not __fish_seen_subcommand_from demo check-config probe commission run brew sample loop-check alarms status tun user token report record replay backup calc help" -f -a "run" -d 'Runs the service: one tun for each configuration file'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and not __fish_seen_subcommand_from demo check-config probe commission run brew sample loop-check alarms status tun user token report record replay backup calc help" -f -a "brew" -d 'Starts, ends, lists, shows and exports brews of the running service'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and not __fish_seen_subcommand_from demo check-config probe commission run brew sample loop-check alarms status tun user token report record replay backup calc help" -f -a "sample" -d 'Gives the running brew a hand sample'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and not __fish_seen_subcommand_from demo check-config probe commission run brew sample loop-check alarms status tun user token report record replay backup calc help" -f -a "loop-check" -d 'Checks instruments against references, writes certificates, and corrects pH and gravity'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and not __fish_seen_subcommand_from demo check-config probe commission run brew sample loop-check alarms status tun user token report record replay backup calc help" -f -a "alarms" -d 'Lists alarms, acknowledges and shelves them, takes them out of service, and tells how they behaved'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and not __fish_seen_subcommand_from demo check-config probe commission run brew sample loop-check alarms status tun user token report record replay backup calc help" -f -a "status" -d 'Shows the tuns of the running service: run-off, stop-point, alarms and readings'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and not __fish_seen_subcommand_from demo check-config probe commission run brew sample loop-check alarms status tun user token report record replay backup calc help" -f -a "tun" -d 'Shows, exports and resets what earlier brews taught about a tun'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and not __fish_seen_subcommand_from demo check-config probe commission run brew sample loop-check alarms status tun user token report record replay backup calc help" -f -a "user" -d 'Adds, removes and lists the people who may sign in'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and not __fish_seen_subcommand_from demo check-config probe commission run brew sample loop-check alarms status tun user token report record replay backup calc help" -f -a "token" -d 'Makes, removes and lists the tokens of programs'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and not __fish_seen_subcommand_from demo check-config probe commission run brew sample loop-check alarms status tun user token report record replay backup calc help" -f -a "report" -d 'Writes the report of a brew: one HTML file that needs nothing beside it and prints well, or its data'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and not __fish_seen_subcommand_from demo check-config probe commission run brew sample loop-check alarms status tun user token report record replay backup calc help" -f -a "record" -d 'Records the raw bytes of every link and the raw messages of every topic, with their times'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and not __fish_seen_subcommand_from demo check-config probe commission run brew sample loop-check alarms status tun user token report record replay backup calc help" -f -a "replay" -d 'Runs recorded instruments through the same watch as the live service, as fast as it can'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and not __fish_seen_subcommand_from demo check-config probe commission run brew sample loop-check alarms status tun user token report record replay backup calc help" -f -a "backup" -d 'Copies the record to another directory, while the service may be running; or puts a copy back'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and not __fish_seen_subcommand_from demo check-config probe commission run brew sample loop-check alarms status tun user token report record replay backup calc help" -f -a "calc" -d 'The brewer\'s arithmetic: each answer with its formula and its source'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and not __fish_seen_subcommand_from demo check-config probe commission run brew sample loop-check alarms status tun user token report record replay backup calc help" -f -a "help" -d 'Print this message or the help of the given subcommand(s)'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from probe" -f -a "units" -d 'Asks every unit for one register and lists those that answer'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from probe" -f -a "registers" -d 'Reads registers and shows every plausible reading of them: types, byte orders, scales'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from probe" -f -a "topics" -d 'Listens to a broker and lists every topic with what its messages hold'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from commission" -f -a "alarms" -d 'Provokes every alarm on simulated brewhouses and sees it arrive at a broker'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from brew" -f -a "start" -d 'Starts a brew with its run-off plan'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from brew" -f -a "end" -d 'Ends the brew under way'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from brew" -f -a "list" -d 'Lists the brews of the record, newest first'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from brew" -f -a "table" -d 'Shows the brewer\'s table of a brew, by default of the newest'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from brew" -f -a "export" -d 'Writes a brew\'s record into a directory: plan, readings, samples, corrections, gaps, table, alarms and lines'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from sample" -f -a "withdraw" -d 'Takes a hand sample back that was a slip: it counts no more'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from loop-check" -f -a "guide" -d 'Leads through a loop check: asks for each applied value, takes the readings, says pass or fail'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from loop-check" -f -a "enter" -d 'Enters a loop check that was written down: a file of JSON'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from loop-check" -f -a "list" -d 'The loop checks of the record, newest last'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from loop-check" -f -a "certificate" -d 'The certificate of a loop check'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from loop-check" -f -a "correct" -d 'Corrects a pH or gravity instrument from now on by applied values'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from loop-check" -f -a "take-back" -d 'Lets an instrument\'s readings pass as they come; the versions before stay in the record'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from loop-check" -f -a "due" -d 'Corrections in force, and which instruments are due'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from alarms" -f -a "list" -d 'Every alarm: cause, response, consequence, caution, delays and what suppresses it. Needs no service; with --config it shows what that tun has changed'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from alarms" -f -a "report" -d 'How the alarms behaved, beside the benchmarks of EEMUA 191 and ISA-18.2. With --config it reads the record, whether or not a service runs'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from alarms" -f -a "trail" -d 'Every change of an alarm: when, what, who and why'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from alarms" -f -a "acknowledge" -d 'Tells that the alarm has been seen'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from alarms" -f -a "shelve" -d 'Keeps the alarm quiet for some minutes; then it returns by itself'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from alarms" -f -a "unshelve" -d 'Takes the alarm from the shelf before its time'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from alarms" -f -a "out-of-service" -d 'Takes the alarm out of service until it is returned'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from alarms" -f -a "return" -d 'Returns the alarm to service'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from tun" -f -a "show" -d 'The tun\'s typical figures, and which brews taught them'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from tun" -f -a "history" -d 'Every version of the profile, newest first'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from tun" -f -a "export" -d 'The profile as JSON'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from tun" -f -a "reset" -d 'Begins a new profile; the versions before it stay in the record'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from user" -f -a "add" -d 'Adds a person, or gives them a new password and role. The password is asked for; it may come on standard input'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from user" -f -a "remove" -d 'Removes a person'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from user" -f -a "list" -d 'Lists the people and their roles'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from token" -f -a "add" -d 'Makes a token and prints it'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from token" -f -a "remove" -d 'Removes a token'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from token" -f -a "list" -d 'Lists the tokens\' names, roles and ends'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from calc" -f -a "convert" -d 'Converts a gravity between °P, specific gravity, density and refractive °Bx'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from calc" -f -a "density" -d 'Density and viscosity of wort at a temperature'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from calc" -f -a "mix" -d 'Gravity and volume of worts put together'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from calc" -f -a "dilute" -d 'Top-up liquor that brings a wort down to a gravity'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from calc" -f -a "contraction" -d 'Volume of a wort after cooling or heating'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from calc" -f -a "flow" -d 'Mean flow for a run-off'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from calc" -f -a "brew-length" -d 'Wort volume at target gravity per kilogram of grist'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from calc" -f -a "extract" -d 'Extract in a wort'
complete -c lauterd -n "__fish_lauterd_using_subcommand help; and __fish_seen_subcommand_from calc" -f -a "ph" -d 'pH of the same wort cooled to 20 °C and in the line'
