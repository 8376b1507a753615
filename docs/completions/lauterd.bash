_lauterd() {
    local i cur prev opts cmd
    COMPREPLY=()
    if [[ "${BASH_VERSINFO[0]}" -ge 4 ]]; then
        cur="$2"
    else
        cur="${COMP_WORDS[COMP_CWORD]}"
    fi
    prev="$3"
    cmd=""
    opts=""

    for i in "${COMP_WORDS[@]:0:COMP_CWORD}"
    do
        case "${cmd},${i}" in
            ",$1")
                cmd="lauterd"
                ;;
            lauterd,alarms)
                cmd="lauterd__subcmd__alarms"
                ;;
            lauterd,backup)
                cmd="lauterd__subcmd__backup"
                ;;
            lauterd,brew)
                cmd="lauterd__subcmd__brew"
                ;;
            lauterd,calc)
                cmd="lauterd__subcmd__calc"
                ;;
            lauterd,check-config)
                cmd="lauterd__subcmd__check__subcmd__config"
                ;;
            lauterd,commission)
                cmd="lauterd__subcmd__commission"
                ;;
            lauterd,demo)
                cmd="lauterd__subcmd__demo"
                ;;
            lauterd,help)
                cmd="lauterd__subcmd__help"
                ;;
            lauterd,loop-check)
                cmd="lauterd__subcmd__loop__subcmd__check"
                ;;
            lauterd,probe)
                cmd="lauterd__subcmd__probe"
                ;;
            lauterd,record)
                cmd="lauterd__subcmd__record"
                ;;
            lauterd,replay)
                cmd="lauterd__subcmd__replay"
                ;;
            lauterd,report)
                cmd="lauterd__subcmd__report"
                ;;
            lauterd,run)
                cmd="lauterd__subcmd__run"
                ;;
            lauterd,sample)
                cmd="lauterd__subcmd__sample"
                ;;
            lauterd,status)
                cmd="lauterd__subcmd__status"
                ;;
            lauterd,token)
                cmd="lauterd__subcmd__token"
                ;;
            lauterd,tun)
                cmd="lauterd__subcmd__tun"
                ;;
            lauterd,user)
                cmd="lauterd__subcmd__user"
                ;;
            lauterd__subcmd__alarms,acknowledge)
                cmd="lauterd__subcmd__alarms__subcmd__acknowledge"
                ;;
            lauterd__subcmd__alarms,help)
                cmd="lauterd__subcmd__alarms__subcmd__help"
                ;;
            lauterd__subcmd__alarms,list)
                cmd="lauterd__subcmd__alarms__subcmd__list"
                ;;
            lauterd__subcmd__alarms,out-of-service)
                cmd="lauterd__subcmd__alarms__subcmd__out__subcmd__of__subcmd__service"
                ;;
            lauterd__subcmd__alarms,report)
                cmd="lauterd__subcmd__alarms__subcmd__report"
                ;;
            lauterd__subcmd__alarms,return)
                cmd="lauterd__subcmd__alarms__subcmd__return"
                ;;
            lauterd__subcmd__alarms,shelve)
                cmd="lauterd__subcmd__alarms__subcmd__shelve"
                ;;
            lauterd__subcmd__alarms,trail)
                cmd="lauterd__subcmd__alarms__subcmd__trail"
                ;;
            lauterd__subcmd__alarms,unshelve)
                cmd="lauterd__subcmd__alarms__subcmd__unshelve"
                ;;
            lauterd__subcmd__alarms__subcmd__help,acknowledge)
                cmd="lauterd__subcmd__alarms__subcmd__help__subcmd__acknowledge"
                ;;
            lauterd__subcmd__alarms__subcmd__help,help)
                cmd="lauterd__subcmd__alarms__subcmd__help__subcmd__help"
                ;;
            lauterd__subcmd__alarms__subcmd__help,list)
                cmd="lauterd__subcmd__alarms__subcmd__help__subcmd__list"
                ;;
            lauterd__subcmd__alarms__subcmd__help,out-of-service)
                cmd="lauterd__subcmd__alarms__subcmd__help__subcmd__out__subcmd__of__subcmd__service"
                ;;
            lauterd__subcmd__alarms__subcmd__help,report)
                cmd="lauterd__subcmd__alarms__subcmd__help__subcmd__report"
                ;;
            lauterd__subcmd__alarms__subcmd__help,return)
                cmd="lauterd__subcmd__alarms__subcmd__help__subcmd__return"
                ;;
            lauterd__subcmd__alarms__subcmd__help,shelve)
                cmd="lauterd__subcmd__alarms__subcmd__help__subcmd__shelve"
                ;;
            lauterd__subcmd__alarms__subcmd__help,trail)
                cmd="lauterd__subcmd__alarms__subcmd__help__subcmd__trail"
                ;;
            lauterd__subcmd__alarms__subcmd__help,unshelve)
                cmd="lauterd__subcmd__alarms__subcmd__help__subcmd__unshelve"
                ;;
            lauterd__subcmd__brew,end)
                cmd="lauterd__subcmd__brew__subcmd__end"
                ;;
            lauterd__subcmd__brew,export)
                cmd="lauterd__subcmd__brew__subcmd__export"
                ;;
            lauterd__subcmd__brew,help)
                cmd="lauterd__subcmd__brew__subcmd__help"
                ;;
            lauterd__subcmd__brew,list)
                cmd="lauterd__subcmd__brew__subcmd__list"
                ;;
            lauterd__subcmd__brew,start)
                cmd="lauterd__subcmd__brew__subcmd__start"
                ;;
            lauterd__subcmd__brew,table)
                cmd="lauterd__subcmd__brew__subcmd__table"
                ;;
            lauterd__subcmd__brew__subcmd__help,end)
                cmd="lauterd__subcmd__brew__subcmd__help__subcmd__end"
                ;;
            lauterd__subcmd__brew__subcmd__help,export)
                cmd="lauterd__subcmd__brew__subcmd__help__subcmd__export"
                ;;
            lauterd__subcmd__brew__subcmd__help,help)
                cmd="lauterd__subcmd__brew__subcmd__help__subcmd__help"
                ;;
            lauterd__subcmd__brew__subcmd__help,list)
                cmd="lauterd__subcmd__brew__subcmd__help__subcmd__list"
                ;;
            lauterd__subcmd__brew__subcmd__help,start)
                cmd="lauterd__subcmd__brew__subcmd__help__subcmd__start"
                ;;
            lauterd__subcmd__brew__subcmd__help,table)
                cmd="lauterd__subcmd__brew__subcmd__help__subcmd__table"
                ;;
            lauterd__subcmd__calc,brew-length)
                cmd="lauterd__subcmd__calc__subcmd__brew__subcmd__length"
                ;;
            lauterd__subcmd__calc,contraction)
                cmd="lauterd__subcmd__calc__subcmd__contraction"
                ;;
            lauterd__subcmd__calc,convert)
                cmd="lauterd__subcmd__calc__subcmd__convert"
                ;;
            lauterd__subcmd__calc,density)
                cmd="lauterd__subcmd__calc__subcmd__density"
                ;;
            lauterd__subcmd__calc,dilute)
                cmd="lauterd__subcmd__calc__subcmd__dilute"
                ;;
            lauterd__subcmd__calc,extract)
                cmd="lauterd__subcmd__calc__subcmd__extract"
                ;;
            lauterd__subcmd__calc,flow)
                cmd="lauterd__subcmd__calc__subcmd__flow"
                ;;
            lauterd__subcmd__calc,help)
                cmd="lauterd__subcmd__calc__subcmd__help"
                ;;
            lauterd__subcmd__calc,mix)
                cmd="lauterd__subcmd__calc__subcmd__mix"
                ;;
            lauterd__subcmd__calc,ph)
                cmd="lauterd__subcmd__calc__subcmd__ph"
                ;;
            lauterd__subcmd__calc__subcmd__help,brew-length)
                cmd="lauterd__subcmd__calc__subcmd__help__subcmd__brew__subcmd__length"
                ;;
            lauterd__subcmd__calc__subcmd__help,contraction)
                cmd="lauterd__subcmd__calc__subcmd__help__subcmd__contraction"
                ;;
            lauterd__subcmd__calc__subcmd__help,convert)
                cmd="lauterd__subcmd__calc__subcmd__help__subcmd__convert"
                ;;
            lauterd__subcmd__calc__subcmd__help,density)
                cmd="lauterd__subcmd__calc__subcmd__help__subcmd__density"
                ;;
            lauterd__subcmd__calc__subcmd__help,dilute)
                cmd="lauterd__subcmd__calc__subcmd__help__subcmd__dilute"
                ;;
            lauterd__subcmd__calc__subcmd__help,extract)
                cmd="lauterd__subcmd__calc__subcmd__help__subcmd__extract"
                ;;
            lauterd__subcmd__calc__subcmd__help,flow)
                cmd="lauterd__subcmd__calc__subcmd__help__subcmd__flow"
                ;;
            lauterd__subcmd__calc__subcmd__help,help)
                cmd="lauterd__subcmd__calc__subcmd__help__subcmd__help"
                ;;
            lauterd__subcmd__calc__subcmd__help,mix)
                cmd="lauterd__subcmd__calc__subcmd__help__subcmd__mix"
                ;;
            lauterd__subcmd__calc__subcmd__help,ph)
                cmd="lauterd__subcmd__calc__subcmd__help__subcmd__ph"
                ;;
            lauterd__subcmd__commission,alarms)
                cmd="lauterd__subcmd__commission__subcmd__alarms"
                ;;
            lauterd__subcmd__commission,help)
                cmd="lauterd__subcmd__commission__subcmd__help"
                ;;
            lauterd__subcmd__commission__subcmd__help,alarms)
                cmd="lauterd__subcmd__commission__subcmd__help__subcmd__alarms"
                ;;
            lauterd__subcmd__commission__subcmd__help,help)
                cmd="lauterd__subcmd__commission__subcmd__help__subcmd__help"
                ;;
            lauterd__subcmd__help,alarms)
                cmd="lauterd__subcmd__help__subcmd__alarms"
                ;;
            lauterd__subcmd__help,backup)
                cmd="lauterd__subcmd__help__subcmd__backup"
                ;;
            lauterd__subcmd__help,brew)
                cmd="lauterd__subcmd__help__subcmd__brew"
                ;;
            lauterd__subcmd__help,calc)
                cmd="lauterd__subcmd__help__subcmd__calc"
                ;;
            lauterd__subcmd__help,check-config)
                cmd="lauterd__subcmd__help__subcmd__check__subcmd__config"
                ;;
            lauterd__subcmd__help,commission)
                cmd="lauterd__subcmd__help__subcmd__commission"
                ;;
            lauterd__subcmd__help,demo)
                cmd="lauterd__subcmd__help__subcmd__demo"
                ;;
            lauterd__subcmd__help,help)
                cmd="lauterd__subcmd__help__subcmd__help"
                ;;
            lauterd__subcmd__help,loop-check)
                cmd="lauterd__subcmd__help__subcmd__loop__subcmd__check"
                ;;
            lauterd__subcmd__help,probe)
                cmd="lauterd__subcmd__help__subcmd__probe"
                ;;
            lauterd__subcmd__help,record)
                cmd="lauterd__subcmd__help__subcmd__record"
                ;;
            lauterd__subcmd__help,replay)
                cmd="lauterd__subcmd__help__subcmd__replay"
                ;;
            lauterd__subcmd__help,report)
                cmd="lauterd__subcmd__help__subcmd__report"
                ;;
            lauterd__subcmd__help,run)
                cmd="lauterd__subcmd__help__subcmd__run"
                ;;
            lauterd__subcmd__help,sample)
                cmd="lauterd__subcmd__help__subcmd__sample"
                ;;
            lauterd__subcmd__help,status)
                cmd="lauterd__subcmd__help__subcmd__status"
                ;;
            lauterd__subcmd__help,token)
                cmd="lauterd__subcmd__help__subcmd__token"
                ;;
            lauterd__subcmd__help,tun)
                cmd="lauterd__subcmd__help__subcmd__tun"
                ;;
            lauterd__subcmd__help,user)
                cmd="lauterd__subcmd__help__subcmd__user"
                ;;
            lauterd__subcmd__help__subcmd__alarms,acknowledge)
                cmd="lauterd__subcmd__help__subcmd__alarms__subcmd__acknowledge"
                ;;
            lauterd__subcmd__help__subcmd__alarms,list)
                cmd="lauterd__subcmd__help__subcmd__alarms__subcmd__list"
                ;;
            lauterd__subcmd__help__subcmd__alarms,out-of-service)
                cmd="lauterd__subcmd__help__subcmd__alarms__subcmd__out__subcmd__of__subcmd__service"
                ;;
            lauterd__subcmd__help__subcmd__alarms,report)
                cmd="lauterd__subcmd__help__subcmd__alarms__subcmd__report"
                ;;
            lauterd__subcmd__help__subcmd__alarms,return)
                cmd="lauterd__subcmd__help__subcmd__alarms__subcmd__return"
                ;;
            lauterd__subcmd__help__subcmd__alarms,shelve)
                cmd="lauterd__subcmd__help__subcmd__alarms__subcmd__shelve"
                ;;
            lauterd__subcmd__help__subcmd__alarms,trail)
                cmd="lauterd__subcmd__help__subcmd__alarms__subcmd__trail"
                ;;
            lauterd__subcmd__help__subcmd__alarms,unshelve)
                cmd="lauterd__subcmd__help__subcmd__alarms__subcmd__unshelve"
                ;;
            lauterd__subcmd__help__subcmd__brew,end)
                cmd="lauterd__subcmd__help__subcmd__brew__subcmd__end"
                ;;
            lauterd__subcmd__help__subcmd__brew,export)
                cmd="lauterd__subcmd__help__subcmd__brew__subcmd__export"
                ;;
            lauterd__subcmd__help__subcmd__brew,list)
                cmd="lauterd__subcmd__help__subcmd__brew__subcmd__list"
                ;;
            lauterd__subcmd__help__subcmd__brew,start)
                cmd="lauterd__subcmd__help__subcmd__brew__subcmd__start"
                ;;
            lauterd__subcmd__help__subcmd__brew,table)
                cmd="lauterd__subcmd__help__subcmd__brew__subcmd__table"
                ;;
            lauterd__subcmd__help__subcmd__calc,brew-length)
                cmd="lauterd__subcmd__help__subcmd__calc__subcmd__brew__subcmd__length"
                ;;
            lauterd__subcmd__help__subcmd__calc,contraction)
                cmd="lauterd__subcmd__help__subcmd__calc__subcmd__contraction"
                ;;
            lauterd__subcmd__help__subcmd__calc,convert)
                cmd="lauterd__subcmd__help__subcmd__calc__subcmd__convert"
                ;;
            lauterd__subcmd__help__subcmd__calc,density)
                cmd="lauterd__subcmd__help__subcmd__calc__subcmd__density"
                ;;
            lauterd__subcmd__help__subcmd__calc,dilute)
                cmd="lauterd__subcmd__help__subcmd__calc__subcmd__dilute"
                ;;
            lauterd__subcmd__help__subcmd__calc,extract)
                cmd="lauterd__subcmd__help__subcmd__calc__subcmd__extract"
                ;;
            lauterd__subcmd__help__subcmd__calc,flow)
                cmd="lauterd__subcmd__help__subcmd__calc__subcmd__flow"
                ;;
            lauterd__subcmd__help__subcmd__calc,mix)
                cmd="lauterd__subcmd__help__subcmd__calc__subcmd__mix"
                ;;
            lauterd__subcmd__help__subcmd__calc,ph)
                cmd="lauterd__subcmd__help__subcmd__calc__subcmd__ph"
                ;;
            lauterd__subcmd__help__subcmd__commission,alarms)
                cmd="lauterd__subcmd__help__subcmd__commission__subcmd__alarms"
                ;;
            lauterd__subcmd__help__subcmd__loop__subcmd__check,certificate)
                cmd="lauterd__subcmd__help__subcmd__loop__subcmd__check__subcmd__certificate"
                ;;
            lauterd__subcmd__help__subcmd__loop__subcmd__check,correct)
                cmd="lauterd__subcmd__help__subcmd__loop__subcmd__check__subcmd__correct"
                ;;
            lauterd__subcmd__help__subcmd__loop__subcmd__check,due)
                cmd="lauterd__subcmd__help__subcmd__loop__subcmd__check__subcmd__due"
                ;;
            lauterd__subcmd__help__subcmd__loop__subcmd__check,enter)
                cmd="lauterd__subcmd__help__subcmd__loop__subcmd__check__subcmd__enter"
                ;;
            lauterd__subcmd__help__subcmd__loop__subcmd__check,guide)
                cmd="lauterd__subcmd__help__subcmd__loop__subcmd__check__subcmd__guide"
                ;;
            lauterd__subcmd__help__subcmd__loop__subcmd__check,list)
                cmd="lauterd__subcmd__help__subcmd__loop__subcmd__check__subcmd__list"
                ;;
            lauterd__subcmd__help__subcmd__loop__subcmd__check,take-back)
                cmd="lauterd__subcmd__help__subcmd__loop__subcmd__check__subcmd__take__subcmd__back"
                ;;
            lauterd__subcmd__help__subcmd__probe,registers)
                cmd="lauterd__subcmd__help__subcmd__probe__subcmd__registers"
                ;;
            lauterd__subcmd__help__subcmd__probe,topics)
                cmd="lauterd__subcmd__help__subcmd__probe__subcmd__topics"
                ;;
            lauterd__subcmd__help__subcmd__probe,units)
                cmd="lauterd__subcmd__help__subcmd__probe__subcmd__units"
                ;;
            lauterd__subcmd__help__subcmd__sample,withdraw)
                cmd="lauterd__subcmd__help__subcmd__sample__subcmd__withdraw"
                ;;
            lauterd__subcmd__help__subcmd__token,add)
                cmd="lauterd__subcmd__help__subcmd__token__subcmd__add"
                ;;
            lauterd__subcmd__help__subcmd__token,list)
                cmd="lauterd__subcmd__help__subcmd__token__subcmd__list"
                ;;
            lauterd__subcmd__help__subcmd__token,remove)
                cmd="lauterd__subcmd__help__subcmd__token__subcmd__remove"
                ;;
            lauterd__subcmd__help__subcmd__tun,export)
                cmd="lauterd__subcmd__help__subcmd__tun__subcmd__export"
                ;;
            lauterd__subcmd__help__subcmd__tun,history)
                cmd="lauterd__subcmd__help__subcmd__tun__subcmd__history"
                ;;
            lauterd__subcmd__help__subcmd__tun,reset)
                cmd="lauterd__subcmd__help__subcmd__tun__subcmd__reset"
                ;;
            lauterd__subcmd__help__subcmd__tun,show)
                cmd="lauterd__subcmd__help__subcmd__tun__subcmd__show"
                ;;
            lauterd__subcmd__help__subcmd__user,add)
                cmd="lauterd__subcmd__help__subcmd__user__subcmd__add"
                ;;
            lauterd__subcmd__help__subcmd__user,list)
                cmd="lauterd__subcmd__help__subcmd__user__subcmd__list"
                ;;
            lauterd__subcmd__help__subcmd__user,remove)
                cmd="lauterd__subcmd__help__subcmd__user__subcmd__remove"
                ;;
            lauterd__subcmd__loop__subcmd__check,certificate)
                cmd="lauterd__subcmd__loop__subcmd__check__subcmd__certificate"
                ;;
            lauterd__subcmd__loop__subcmd__check,correct)
                cmd="lauterd__subcmd__loop__subcmd__check__subcmd__correct"
                ;;
            lauterd__subcmd__loop__subcmd__check,due)
                cmd="lauterd__subcmd__loop__subcmd__check__subcmd__due"
                ;;
            lauterd__subcmd__loop__subcmd__check,enter)
                cmd="lauterd__subcmd__loop__subcmd__check__subcmd__enter"
                ;;
            lauterd__subcmd__loop__subcmd__check,guide)
                cmd="lauterd__subcmd__loop__subcmd__check__subcmd__guide"
                ;;
            lauterd__subcmd__loop__subcmd__check,help)
                cmd="lauterd__subcmd__loop__subcmd__check__subcmd__help"
                ;;
            lauterd__subcmd__loop__subcmd__check,list)
                cmd="lauterd__subcmd__loop__subcmd__check__subcmd__list"
                ;;
            lauterd__subcmd__loop__subcmd__check,take-back)
                cmd="lauterd__subcmd__loop__subcmd__check__subcmd__take__subcmd__back"
                ;;
            lauterd__subcmd__loop__subcmd__check__subcmd__help,certificate)
                cmd="lauterd__subcmd__loop__subcmd__check__subcmd__help__subcmd__certificate"
                ;;
            lauterd__subcmd__loop__subcmd__check__subcmd__help,correct)
                cmd="lauterd__subcmd__loop__subcmd__check__subcmd__help__subcmd__correct"
                ;;
            lauterd__subcmd__loop__subcmd__check__subcmd__help,due)
                cmd="lauterd__subcmd__loop__subcmd__check__subcmd__help__subcmd__due"
                ;;
            lauterd__subcmd__loop__subcmd__check__subcmd__help,enter)
                cmd="lauterd__subcmd__loop__subcmd__check__subcmd__help__subcmd__enter"
                ;;
            lauterd__subcmd__loop__subcmd__check__subcmd__help,guide)
                cmd="lauterd__subcmd__loop__subcmd__check__subcmd__help__subcmd__guide"
                ;;
            lauterd__subcmd__loop__subcmd__check__subcmd__help,help)
                cmd="lauterd__subcmd__loop__subcmd__check__subcmd__help__subcmd__help"
                ;;
            lauterd__subcmd__loop__subcmd__check__subcmd__help,list)
                cmd="lauterd__subcmd__loop__subcmd__check__subcmd__help__subcmd__list"
                ;;
            lauterd__subcmd__loop__subcmd__check__subcmd__help,take-back)
                cmd="lauterd__subcmd__loop__subcmd__check__subcmd__help__subcmd__take__subcmd__back"
                ;;
            lauterd__subcmd__probe,help)
                cmd="lauterd__subcmd__probe__subcmd__help"
                ;;
            lauterd__subcmd__probe,registers)
                cmd="lauterd__subcmd__probe__subcmd__registers"
                ;;
            lauterd__subcmd__probe,topics)
                cmd="lauterd__subcmd__probe__subcmd__topics"
                ;;
            lauterd__subcmd__probe,units)
                cmd="lauterd__subcmd__probe__subcmd__units"
                ;;
            lauterd__subcmd__probe__subcmd__help,help)
                cmd="lauterd__subcmd__probe__subcmd__help__subcmd__help"
                ;;
            lauterd__subcmd__probe__subcmd__help,registers)
                cmd="lauterd__subcmd__probe__subcmd__help__subcmd__registers"
                ;;
            lauterd__subcmd__probe__subcmd__help,topics)
                cmd="lauterd__subcmd__probe__subcmd__help__subcmd__topics"
                ;;
            lauterd__subcmd__probe__subcmd__help,units)
                cmd="lauterd__subcmd__probe__subcmd__help__subcmd__units"
                ;;
            lauterd__subcmd__sample,help)
                cmd="lauterd__subcmd__sample__subcmd__help"
                ;;
            lauterd__subcmd__sample,withdraw)
                cmd="lauterd__subcmd__sample__subcmd__withdraw"
                ;;
            lauterd__subcmd__sample__subcmd__help,help)
                cmd="lauterd__subcmd__sample__subcmd__help__subcmd__help"
                ;;
            lauterd__subcmd__sample__subcmd__help,withdraw)
                cmd="lauterd__subcmd__sample__subcmd__help__subcmd__withdraw"
                ;;
            lauterd__subcmd__token,add)
                cmd="lauterd__subcmd__token__subcmd__add"
                ;;
            lauterd__subcmd__token,help)
                cmd="lauterd__subcmd__token__subcmd__help"
                ;;
            lauterd__subcmd__token,list)
                cmd="lauterd__subcmd__token__subcmd__list"
                ;;
            lauterd__subcmd__token,remove)
                cmd="lauterd__subcmd__token__subcmd__remove"
                ;;
            lauterd__subcmd__token__subcmd__help,add)
                cmd="lauterd__subcmd__token__subcmd__help__subcmd__add"
                ;;
            lauterd__subcmd__token__subcmd__help,help)
                cmd="lauterd__subcmd__token__subcmd__help__subcmd__help"
                ;;
            lauterd__subcmd__token__subcmd__help,list)
                cmd="lauterd__subcmd__token__subcmd__help__subcmd__list"
                ;;
            lauterd__subcmd__token__subcmd__help,remove)
                cmd="lauterd__subcmd__token__subcmd__help__subcmd__remove"
                ;;
            lauterd__subcmd__tun,export)
                cmd="lauterd__subcmd__tun__subcmd__export"
                ;;
            lauterd__subcmd__tun,help)
                cmd="lauterd__subcmd__tun__subcmd__help"
                ;;
            lauterd__subcmd__tun,history)
                cmd="lauterd__subcmd__tun__subcmd__history"
                ;;
            lauterd__subcmd__tun,reset)
                cmd="lauterd__subcmd__tun__subcmd__reset"
                ;;
            lauterd__subcmd__tun,show)
                cmd="lauterd__subcmd__tun__subcmd__show"
                ;;
            lauterd__subcmd__tun__subcmd__help,export)
                cmd="lauterd__subcmd__tun__subcmd__help__subcmd__export"
                ;;
            lauterd__subcmd__tun__subcmd__help,help)
                cmd="lauterd__subcmd__tun__subcmd__help__subcmd__help"
                ;;
            lauterd__subcmd__tun__subcmd__help,history)
                cmd="lauterd__subcmd__tun__subcmd__help__subcmd__history"
                ;;
            lauterd__subcmd__tun__subcmd__help,reset)
                cmd="lauterd__subcmd__tun__subcmd__help__subcmd__reset"
                ;;
            lauterd__subcmd__tun__subcmd__help,show)
                cmd="lauterd__subcmd__tun__subcmd__help__subcmd__show"
                ;;
            lauterd__subcmd__user,add)
                cmd="lauterd__subcmd__user__subcmd__add"
                ;;
            lauterd__subcmd__user,help)
                cmd="lauterd__subcmd__user__subcmd__help"
                ;;
            lauterd__subcmd__user,list)
                cmd="lauterd__subcmd__user__subcmd__list"
                ;;
            lauterd__subcmd__user,remove)
                cmd="lauterd__subcmd__user__subcmd__remove"
                ;;
            lauterd__subcmd__user__subcmd__help,add)
                cmd="lauterd__subcmd__user__subcmd__help__subcmd__add"
                ;;
            lauterd__subcmd__user__subcmd__help,help)
                cmd="lauterd__subcmd__user__subcmd__help__subcmd__help"
                ;;
            lauterd__subcmd__user__subcmd__help,list)
                cmd="lauterd__subcmd__user__subcmd__help__subcmd__list"
                ;;
            lauterd__subcmd__user__subcmd__help,remove)
                cmd="lauterd__subcmd__user__subcmd__help__subcmd__remove"
                ;;
            *)
                ;;
        esac
    done

    case "${cmd}" in
        lauterd)
            opts="-h -V --help --version demo check-config probe commission run brew sample loop-check alarms status tun user token report record replay backup calc help"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 1 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__alarms)
            opts="-h -V --config --url --token-file --ca-file --tun --help --version list report trail acknowledge shelve unshelve out-of-service return help"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 2 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --url)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --token-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --ca-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --tun)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__alarms__subcmd__acknowledge)
            opts="-h -V --instrument --who --config --url --token-file --ca-file --tun --help --version channelling bed-compaction stuck-bed gravity-floor ph-ceiling tannin-limit-ahead stop-point-ahead stop-point-reached kettle-high-level runoff-too-fast runoff-too-slow turbid-runnings instrument-fault instruments-disagree link-lost delivery-delayed"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --instrument)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --who)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --url)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --token-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --ca-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --tun)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__alarms__subcmd__help)
            opts="list report trail acknowledge shelve unshelve out-of-service return help"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__alarms__subcmd__help__subcmd__acknowledge)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__alarms__subcmd__help__subcmd__help)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__alarms__subcmd__help__subcmd__list)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__alarms__subcmd__help__subcmd__out__subcmd__of__subcmd__service)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__alarms__subcmd__help__subcmd__report)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__alarms__subcmd__help__subcmd__return)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__alarms__subcmd__help__subcmd__shelve)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__alarms__subcmd__help__subcmd__trail)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__alarms__subcmd__help__subcmd__unshelve)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__alarms__subcmd__list)
            opts="-h -V --json --config --url --token-file --ca-file --tun --help --version channelling bed-compaction stuck-bed gravity-floor ph-ceiling tannin-limit-ahead stop-point-ahead stop-point-reached kettle-high-level runoff-too-fast runoff-too-slow turbid-runnings instrument-fault instruments-disagree link-lost delivery-delayed"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --url)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --token-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --ca-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --tun)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__alarms__subcmd__out__subcmd__of__subcmd__service)
            opts="-h -V --instrument --who --reason --config --url --token-file --ca-file --tun --help --version channelling bed-compaction stuck-bed gravity-floor ph-ceiling tannin-limit-ahead stop-point-ahead stop-point-reached kettle-high-level runoff-too-fast runoff-too-slow turbid-runnings instrument-fault instruments-disagree link-lost delivery-delayed"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --instrument)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --who)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --reason)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --url)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --token-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --ca-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --tun)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__alarms__subcmd__report)
            opts="-h -V --brew --days --store --json --config --url --token-file --ca-file --tun --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --brew)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --days)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --store)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --url)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --token-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --ca-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --tun)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__alarms__subcmd__return)
            opts="-h -V --instrument --who --config --url --token-file --ca-file --tun --help --version channelling bed-compaction stuck-bed gravity-floor ph-ceiling tannin-limit-ahead stop-point-ahead stop-point-reached kettle-high-level runoff-too-fast runoff-too-slow turbid-runnings instrument-fault instruments-disagree link-lost delivery-delayed"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --instrument)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --who)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --url)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --token-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --ca-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --tun)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__alarms__subcmd__shelve)
            opts="-h -V --instrument --who --minutes --reason --config --url --token-file --ca-file --tun --help --version channelling bed-compaction stuck-bed gravity-floor ph-ceiling tannin-limit-ahead stop-point-ahead stop-point-reached kettle-high-level runoff-too-fast runoff-too-slow turbid-runnings instrument-fault instruments-disagree link-lost delivery-delayed"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --instrument)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --who)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --minutes)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --reason)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --url)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --token-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --ca-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --tun)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__alarms__subcmd__trail)
            opts="-h -V --brew --days --store --json --config --url --token-file --ca-file --tun --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --brew)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --days)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --store)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --url)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --token-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --ca-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --tun)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__alarms__subcmd__unshelve)
            opts="-h -V --instrument --who --config --url --token-file --ca-file --tun --help --version channelling bed-compaction stuck-bed gravity-floor ph-ceiling tannin-limit-ahead stop-point-ahead stop-point-reached kettle-high-level runoff-too-fast runoff-too-slow turbid-runnings instrument-fault instruments-disagree link-lost delivery-delayed"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --instrument)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --who)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --url)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --token-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --ca-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --tun)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__backup)
            opts="-h -V --config --to --restore --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 2 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --to)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --restore)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__brew)
            opts="-h -V --config --url --token-file --ca-file --tun --help --version start end list table export help"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 2 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --url)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --token-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --ca-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --tun)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__brew__subcmd__end)
            opts="-h -V --config --url --token-file --ca-file --tun --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --url)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --token-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --ca-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --tun)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__brew__subcmd__export)
            opts="-h -V --into --config --url --token-file --ca-file --tun --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --into)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --url)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --token-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --ca-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --tun)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__brew__subcmd__help)
            opts="start end list table export help"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__brew__subcmd__help__subcmd__end)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__brew__subcmd__help__subcmd__export)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__brew__subcmd__help__subcmd__help)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__brew__subcmd__help__subcmd__list)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__brew__subcmd__help__subcmd__start)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__brew__subcmd__help__subcmd__table)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__brew__subcmd__list)
            opts="-h -V --limit --json --config --url --token-file --ca-file --tun --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --limit)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --url)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --token-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --ca-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --tun)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__brew__subcmd__start)
            opts="-h -V --plan --replace --config --url --token-file --ca-file --tun --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --plan)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --url)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --token-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --ca-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --tun)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__brew__subcmd__table)
            opts="-h -V --json --config --url --token-file --ca-file --tun --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --url)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --token-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --ca-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --tun)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__calc)
            opts="-h -V --json --help --version convert density mix dilute contraction flow brew-length extract ph help"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 2 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__calc__subcmd__brew__subcmd__length)
            opts="-h -V --volume-l --gravity-p --temperature-c --grist-kg --target-gravity-p --json --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --volume-l)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --gravity-p)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --temperature-c)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --grist-kg)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --target-gravity-p)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__calc__subcmd__contraction)
            opts="-h -V --volume-l --gravity-p --from-c --to-c --json --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --volume-l)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --gravity-p)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --from-c)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --to-c)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__calc__subcmd__convert)
            opts="-h -V --from --to --temperature-c --wort-factor --json --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --from)
                    COMPREPLY=($(compgen -W "degP sg kg/m3 degBx" -- "${cur}"))
                    return 0
                    ;;
                --to)
                    COMPREPLY=($(compgen -W "degP sg kg/m3 degBx" -- "${cur}"))
                    return 0
                    ;;
                --temperature-c)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --wort-factor)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__calc__subcmd__density)
            opts="-h -V --gravity-p --temperature-c --json --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --gravity-p)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --temperature-c)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__calc__subcmd__dilute)
            opts="-h -V --volume-l --gravity-p --temperature-c --target-gravity-p --liquor-temperature-c --json --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --volume-l)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --gravity-p)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --temperature-c)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --target-gravity-p)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --liquor-temperature-c)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__calc__subcmd__extract)
            opts="-h -V --gravity-p --temperature-c --volume-l --json --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --gravity-p)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --temperature-c)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --volume-l)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__calc__subcmd__flow)
            opts="-h -V --volume-l --minutes --json --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --volume-l)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --minutes)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__calc__subcmd__help)
            opts="convert density mix dilute contraction flow brew-length extract ph help"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__calc__subcmd__help__subcmd__brew__subcmd__length)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__calc__subcmd__help__subcmd__contraction)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__calc__subcmd__help__subcmd__convert)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__calc__subcmd__help__subcmd__density)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__calc__subcmd__help__subcmd__dilute)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__calc__subcmd__help__subcmd__extract)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__calc__subcmd__help__subcmd__flow)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__calc__subcmd__help__subcmd__help)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__calc__subcmd__help__subcmd__mix)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__calc__subcmd__help__subcmd__ph)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__calc__subcmd__mix)
            opts="-h -V --portion --json --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --portion)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__calc__subcmd__ph)
            opts="-h -V --ph --basis --temperature-c --json --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --ph)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --basis)
                    COMPREPLY=($(compgen -W "room process" -- "${cur}"))
                    return 0
                    ;;
                --temperature-c)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__check__subcmd__config)
            opts="-h -V --json --schema --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 2 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__commission)
            opts="-h -V --config --who --watch --plan --leave-out --to --no-questions --broker --user --password-file --tls --ca-file --speed --help --version alarms help"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 2 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --who)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --watch)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --plan)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --leave-out)
                    COMPREPLY=($(compgen -W "instruments loop-checks alarms dry-run" -- "${cur}"))
                    return 0
                    ;;
                --to)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --broker)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --user)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --password-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --ca-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --speed)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__commission__subcmd__alarms)
            opts="-h -V --config --broker --user --password-file --tls --ca-file --speed --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --broker)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --user)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --password-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --ca-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --speed)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__commission__subcmd__help)
            opts="alarms help"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__commission__subcmd__help__subcmd__alarms)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__commission__subcmd__help__subcmd__help)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__demo)
            opts="-h -V --speed --seed --listen --stay --language --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 2 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --speed)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --seed)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --listen)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --language)
                    COMPREPLY=($(compgen -W "en de" -- "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help)
            opts="demo check-config probe commission run brew sample loop-check alarms status tun user token report record replay backup calc help"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 2 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__alarms)
            opts="list report trail acknowledge shelve unshelve out-of-service return"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__alarms__subcmd__acknowledge)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__alarms__subcmd__list)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__alarms__subcmd__out__subcmd__of__subcmd__service)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__alarms__subcmd__report)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__alarms__subcmd__return)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__alarms__subcmd__shelve)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__alarms__subcmd__trail)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__alarms__subcmd__unshelve)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__backup)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__brew)
            opts="start end list table export"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__brew__subcmd__end)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__brew__subcmd__export)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__brew__subcmd__list)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__brew__subcmd__start)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__brew__subcmd__table)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__calc)
            opts="convert density mix dilute contraction flow brew-length extract ph"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__calc__subcmd__brew__subcmd__length)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__calc__subcmd__contraction)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__calc__subcmd__convert)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__calc__subcmd__density)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__calc__subcmd__dilute)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__calc__subcmd__extract)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__calc__subcmd__flow)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__calc__subcmd__mix)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__calc__subcmd__ph)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__check__subcmd__config)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__commission)
            opts="alarms"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__commission__subcmd__alarms)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__demo)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__help)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__loop__subcmd__check)
            opts="guide enter list certificate correct take-back due"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__loop__subcmd__check__subcmd__certificate)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__loop__subcmd__check__subcmd__correct)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__loop__subcmd__check__subcmd__due)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__loop__subcmd__check__subcmd__enter)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__loop__subcmd__check__subcmd__guide)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__loop__subcmd__check__subcmd__list)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__loop__subcmd__check__subcmd__take__subcmd__back)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__probe)
            opts="units registers topics"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__probe__subcmd__registers)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__probe__subcmd__topics)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__probe__subcmd__units)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__record)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__replay)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__report)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__run)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__sample)
            opts="withdraw"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__sample__subcmd__withdraw)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__status)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__token)
            opts="add remove list"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__token__subcmd__add)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__token__subcmd__list)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__token__subcmd__remove)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__tun)
            opts="show history export reset"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__tun__subcmd__export)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__tun__subcmd__history)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__tun__subcmd__reset)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__tun__subcmd__show)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__user)
            opts="add remove list"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__user__subcmd__add)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__user__subcmd__list)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__help__subcmd__user__subcmd__remove)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__loop__subcmd__check)
            opts="-h -V --config --url --token-file --ca-file --tun --help --version guide enter list certificate correct take-back due help"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 2 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --url)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --token-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --ca-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --tun)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__loop__subcmd__check__subcmd__certificate)
            opts="-h -V --format --output --config --url --token-file --ca-file --tun --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --format)
                    COMPREPLY=($(compgen -W "html csv json" -- "${cur}"))
                    return 0
                    ;;
                --output)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --url)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --token-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --ca-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --tun)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__loop__subcmd__check__subcmd__correct)
            opts="-h -V --instrument --point --due-days --who --config --url --token-file --ca-file --tun --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --instrument)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --point)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --due-days)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --who)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --url)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --token-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --ca-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --tun)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__loop__subcmd__check__subcmd__due)
            opts="-h -V --json --config --url --token-file --ca-file --tun --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --url)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --token-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --ca-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --tun)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__loop__subcmd__check__subcmd__enter)
            opts="-h -V --config --url --token-file --ca-file --tun --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --url)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --token-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --ca-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --tun)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__loop__subcmd__check__subcmd__guide)
            opts="-h -V --instrument --tolerance --reference --uncertainty --temperature-uncertainty --resolution --method --repeats --seconds --note --due-days --who --config --url --token-file --ca-file --tun --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --instrument)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --tolerance)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --reference)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --uncertainty)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --temperature-uncertainty)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --resolution)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --method)
                    COMPREPLY=($(compgen -W "values buffers gravity weighed-tank sample-ph" -- "${cur}"))
                    return 0
                    ;;
                --repeats)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --seconds)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --note)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --due-days)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --who)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --url)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --token-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --ca-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --tun)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__loop__subcmd__check__subcmd__help)
            opts="guide enter list certificate correct take-back due help"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__loop__subcmd__check__subcmd__help__subcmd__certificate)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__loop__subcmd__check__subcmd__help__subcmd__correct)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__loop__subcmd__check__subcmd__help__subcmd__due)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__loop__subcmd__check__subcmd__help__subcmd__enter)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__loop__subcmd__check__subcmd__help__subcmd__guide)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__loop__subcmd__check__subcmd__help__subcmd__help)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__loop__subcmd__check__subcmd__help__subcmd__list)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__loop__subcmd__check__subcmd__help__subcmd__take__subcmd__back)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__loop__subcmd__check__subcmd__list)
            opts="-h -V --instrument --json --config --url --token-file --ca-file --tun --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --instrument)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --url)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --token-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --ca-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --tun)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__loop__subcmd__check__subcmd__take__subcmd__back)
            opts="-h -V --instrument --who --config --url --token-file --ca-file --tun --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --instrument)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --who)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --url)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --token-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --ca-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --tun)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__probe)
            opts="-h -V --help --version units registers topics help"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 2 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__probe__subcmd__help)
            opts="units registers topics help"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__probe__subcmd__help__subcmd__help)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__probe__subcmd__help__subcmd__registers)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__probe__subcmd__help__subcmd__topics)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__probe__subcmd__help__subcmd__units)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__probe__subcmd__registers)
            opts="-h -V --unit --table --from --count --watch --expect --id --measures --unit-of-value --temperature --pick --all --into --tcp --rtu-over-tcp --rtu --baud --parity --timeout --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --unit)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --table)
                    COMPREPLY=($(compgen -W "input holding discrete coil" -- "${cur}"))
                    return 0
                    ;;
                --from)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --count)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --watch)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --expect)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --id)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --measures)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --unit-of-value)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --temperature)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --pick)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --into)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --tcp)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --rtu-over-tcp)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --rtu)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --baud)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --parity)
                    COMPREPLY=($(compgen -W "none even odd" -- "${cur}"))
                    return 0
                    ;;
                --timeout)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__probe__subcmd__topics)
            opts="-h -V --broker --user --password-file --tls --ca-file --config --filter --listen-for --watch --expect --id --measures --unit-of-value --temperature --pick --all --into --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --broker)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --user)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --password-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --ca-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --filter)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --listen-for)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --expect)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --id)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --measures)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --unit-of-value)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --temperature)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --pick)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --into)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__probe__subcmd__units)
            opts="-h -V --first --last --tcp --rtu-over-tcp --rtu --baud --parity --timeout --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --first)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --last)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --tcp)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --rtu-over-tcp)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --rtu)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --baud)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --parity)
                    COMPREPLY=($(compgen -W "none even odd" -- "${cur}"))
                    return 0
                    ;;
                --timeout)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__record)
            opts="-h -V --config --to --for --limit --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 2 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --to)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --for)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --limit)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__replay)
            opts="-h -V --config --plan --data --samples --corrections --gaps --store --results --jobs --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 2 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --plan)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --data)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --samples)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --corrections)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --gaps)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --store)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --results)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --jobs)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__report)
            opts="-h -V --format --chart --output --config --url --token-file --ca-file --tun --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 2 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --format)
                    COMPREPLY=($(compgen -W "html csv json" -- "${cur}"))
                    return 0
                    ;;
                --chart)
                    COMPREPLY=($(compgen -W "gravity bed ph stop-point" -- "${cur}"))
                    return 0
                    ;;
                --output)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --url)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --token-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --ca-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --tun)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__run)
            opts="-h -V --config --speed --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 2 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --speed)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__sample)
            opts="-h -V --place --gravity --ph --volume --config --url --token-file --ca-file --tun --help --version withdraw help"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 2 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --place)
                    COMPREPLY=($(compgen -W "runnings kettle" -- "${cur}"))
                    return 0
                    ;;
                --gravity)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --ph)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --volume)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --url)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --token-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --ca-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --tun)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__sample__subcmd__help)
            opts="withdraw help"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__sample__subcmd__help__subcmd__help)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__sample__subcmd__help__subcmd__withdraw)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__sample__subcmd__withdraw)
            opts="-h -V --config --url --token-file --ca-file --tun --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --url)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --token-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --ca-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --tun)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__status)
            opts="-h -V --json --config --url --token-file --ca-file --tun --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 2 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --url)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --token-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --ca-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --tun)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__token)
            opts="-h -V --config --users-file --help --version add remove list help"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 2 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --users-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__token__subcmd__add)
            opts="-h -V --role --days --config --users-file --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --role)
                    COMPREPLY=($(compgen -W "watch operate engineer" -- "${cur}"))
                    return 0
                    ;;
                --days)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --users-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__token__subcmd__help)
            opts="add remove list help"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__token__subcmd__help__subcmd__add)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__token__subcmd__help__subcmd__help)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__token__subcmd__help__subcmd__list)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__token__subcmd__help__subcmd__remove)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__token__subcmd__list)
            opts="-h -V --config --users-file --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --users-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__token__subcmd__remove)
            opts="-h -V --config --users-file --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --users-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__tun)
            opts="-h -V --config --store --help --version show history export reset help"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 2 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --store)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__tun__subcmd__export)
            opts="-h -V --config --store --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --store)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__tun__subcmd__help)
            opts="show history export reset help"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__tun__subcmd__help__subcmd__export)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__tun__subcmd__help__subcmd__help)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__tun__subcmd__help__subcmd__history)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__tun__subcmd__help__subcmd__reset)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__tun__subcmd__help__subcmd__show)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__tun__subcmd__history)
            opts="-h -V --config --store --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --store)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__tun__subcmd__reset)
            opts="-h -V --config --store --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --store)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__tun__subcmd__show)
            opts="-h -V --config --store --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --store)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__user)
            opts="-h -V --config --users-file --help --version add remove list help"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 2 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --users-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__user__subcmd__add)
            opts="-h -V --role --config --users-file --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --role)
                    COMPREPLY=($(compgen -W "watch operate engineer" -- "${cur}"))
                    return 0
                    ;;
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --users-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__user__subcmd__help)
            opts="add remove list help"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__user__subcmd__help__subcmd__add)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__user__subcmd__help__subcmd__help)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__user__subcmd__help__subcmd__list)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__user__subcmd__help__subcmd__remove)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 4 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__user__subcmd__list)
            opts="-h -V --config --users-file --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --users-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        lauterd__subcmd__user__subcmd__remove)
            opts="-h -V --config --users-file --help --version"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --config)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --users-file)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
    esac
}

if [[ "${BASH_VERSINFO[0]}" -eq 4 && "${BASH_VERSINFO[1]}" -ge 4 || "${BASH_VERSINFO[0]}" -gt 4 ]]; then
    complete -F _lauterd -o nosort -o bashdefault -o default lauterd
else
    complete -F _lauterd -o bashdefault -o default lauterd
fi
