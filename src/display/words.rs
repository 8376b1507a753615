//! Every word of the page, the charts and the report, in English and in German.
//!
//! Owns the words alone. `{0}`, `{1}` … stand for figures. Alarms have theirs in `alarm_words`, what
//! the core tells in its record in `told`.

use crate::config::model::Language;

pub fn of(language: Language) -> &'static Words {
    match language {
        Language::English => &ENGLISH,
        Language::German => &GERMAN,
    }
}

words! {
    // The frame.
    runoff: "Run-off" / "Ablauf";
    brews: "Brews" / "Sude";
    tun: "Tun" / "Bottich";
    instruments: "Instruments" / "Messgeräte";
    pages: "Pages" / "Seiten";
    skip: "Skip to the content" / "Zum Inhalt";
    to_start: "To the first page" / "Zur ersten Seite";
    not_found: "Not found" / "Nicht gefunden";
    cannot_be_shown: "This cannot be shown now" / "Das lässt sich jetzt nicht zeigen";
    live: "live" / "live";
    not_live: "Not live: figures are old" / "Nicht live: Werte veraltet";
    who: "Name" / "Name";
    theme: "Light/dark" / "Hell/Dunkel";
    theme_says: "Change between light and dark" / "Zwischen hell und dunkel wechseln";
    caution: "Caution:" / "Achtung:";
    cautions: "Hot wort and liquor scald. Rakes are rotating machinery: keep guards and interlocks in place, never open a manway or reach in with rakes powered, follow the site's lock-out procedure and local code. Never fill a kettle on this page's word alone: the hard-wired high-level trip stands. Carbon dioxide and cleaning chemicals in vessels injure and kill. This program supports your judgement; it is not a safety function." / "Heiße Würze und heißes Wasser verbrühen. Hackwerke sind rotierende Maschinen: Schutzeinrichtungen und Verriegelungen nicht entfernen, nie ein Mannloch öffnen oder hineingreifen, solange das Hackwerk unter Spannung steht; Freischaltverfahren des Betriebs und örtliche Vorschriften befolgen. Nie eine Pfanne allein nach dieser Seite füllen: die festverdrahtete Überfüllsicherung gilt. Kohlendioxid und Reinigungsmittel in Gefäßen verletzen und töten. Dieses Programm unterstützt das Urteil; es ist keine Sicherheitsfunktion.";
    // What to do next.
    what_next: "What to do next" / "Was als Nächstes zu tun ist";
    next_lead: "Next:" / "Jetzt:";
    next_no_brew: "No run-off is under way. Start one with its plan when the mash has settled." / "Kein Ablauf läuft. Mit dem Plan starten, wenn sich die Treber gesetzt haben.";
    next_waiting: "Start recirculating gently; the run-off is waiting for flow." / "Trübwürze langsam umpumpen; der Ablauf wartet auf Durchfluss.";
    next_recirculation: "Recirculate until the runnings are clear, then turn them to the kettle." / "Umpumpen, bis die Würze klar ist, dann zur Pfanne umstellen.";
    next_running: "Nothing to correct: at {0}, stop at {1} in {2} min." / "Nichts zu ändern: mit {0} bei {1} in {2} min beenden.";
    at_present: "At the present {0}: stop at {1} in {2} min." / "Beim jetzigen Durchfluss von {0}: bei {1} in {2} min beenden.";
    stop_then: "Stop at {0} in {1} min." / "Bei {0} in {1} min beenden.";
    next_slow: "Open the run-off a little, to about {0}: at {1} it ends {2} min late." / "Ablauf etwas öffnen, auf etwa {0}: mit {1} endet er {2} min zu spät.";
    next_slow_tight: "Keep {0}, although it ends {1} min late: the bed leaves no room for more." / "{0} halten, auch wenn der Ablauf {1} min später endet: das Bett lässt nicht mehr zu.";
    next_fast: "Throttle the run-off to about {0}: at {1} it ends {2} min early." / "Ablauf auf etwa {0} drosseln: mit {1} endet er {2} min zu früh.";
    planned_end_passed: "The planned end has passed." / "Das geplante Ende ist vorbei.";
    next_shelved: "Shelved, not gone: {0}." / "Zurückgestellt, nicht behoben: {0}.";
    nothing_measured: "No instrument is believed: the figures are dead reckoning. Read the sight glass and take hand samples." / "Keinem Messgerät wird geglaubt: die Werte sind hochgerechnet. Schauglas ablesen und Handproben nehmen.";
    figures_stand_still: "Nothing has been measured for {0} min: the figures stand as they were, and how long it still takes is not known. Read the sight glass and take hand samples." / "Seit {0} min wird nichts gemessen: die Werte stehen still, und wie lange es noch dauert, ist nicht bekannt. Schauglas ablesen und Handproben nehmen.";
    volume_not_measured: "Neither flow nor level is believed: the kettle volume is dead reckoning. Read the sight glass and enter a sample." / "Weder Durchfluss noch Stand wird geglaubt: das Pfannenvolumen ist hochgerechnet. Schauglas ablesen und eintragen.";
    gravity_not_measured: "No gravity is believed: kettle gravity and stop-point are dead reckoning. Enter hand samples." / "Keinem Extraktwert wird geglaubt: Extrakt in der Pfanne und Endpunkt sind hochgerechnet. Handproben eintragen.";
    silent_for: "nothing measured for {0} min" / "seit {0} min nichts gemessen";
    reckoned: "reckoned, not measured" / "hochgerechnet, nicht gemessen";
    in_doubt: "in doubt: channel" / "unsicher: Kanal";
    channel_open: "The stop-point is in doubt while the bed channels: its thin runnings pull the figure down." / "Der Endpunkt ist unsicher, solange ein Kanal offen ist: dessen dünne Würze zieht den Wert herab.";
    channel_suspected: "Watch runnings and pressure drop: the bed may be channelling, so the stop-point is in doubt." / "Ablauf und Differenzdruck beobachten: vielleicht bildet sich ein Kanal; der Endpunkt ist unsicher.";
    stop_before: "Before, {0} was expected." / "Vorher waren {0} erwartet.";
    next_draining: "Let the bed drain and stop at {0} in {1} min." / "Treber leerlaufen lassen und bei {0} in {1} min beenden.";
    next_early: "Run off gently; the stop-point shows once wort has flowed for a minute." / "Langsam ablaufen lassen; der Endpunkt erscheint nach einer Minute Durchfluss.";
    next_reached: "The stop-point has been reached: stop the run-off and end it here." / "Der Endpunkt ist erreicht: Ablauf beenden und hier abschließen.";
    next_finished: "Flow has stopped: end the run-off here so that its record closes." / "Der Durchfluss steht: den Ablauf hier abschließen.";
    // The glance.
    stop_point: "Stop-point" / "Endpunkt";
    stop: "Stop" / "Ende";
    minutes_to_go: "min to go" / "min noch";
    minutes_unknown: "not known" / "nicht bekannt";
    reached: "reached" / "erreicht";
    reached_ago: "reached {0} min ago" / "vor {0} min erreicht";
    no_stop_yet: "Shown from the first minute of flow on." / "Ab der ersten Minute Durchfluss.";
    band_says: "9 times in 10 between {0} and {1}" / "In 9 von 10 Fällen zwischen {0} und {1}";
    band_minutes: "in {0} to {1} min" / "in {0} bis {1} min";
    by_target: "The kettle gravity decides." / "Der Extrakt in der Pfanne entscheidet.";
    by_floor: "The gravity floor comes first." / "Die Extraktgrenze kommt zuerst.";
    by_ceiling: "The pH ceiling comes first." / "Die pH-Grenze kommt zuerst.";
    by_capacity: "The kettle is full first." / "Die Pfanne ist vorher voll.";
    by_end: "The run-off was ended before any limit." / "Der Ablauf wurde vor jeder Grenze beendet.";
    then_top_up: "Then top up with {0} of liquor to {1}." / "Dann mit {0} Wasser auf {1} auffüllen.";
    in_kettle: "in the kettle" / "in der Pfanne";
    capacity: "full at" / "voll bei";
    kettle: "Kettle" / "Pfanne";
    runnings: "Runnings" / "Ablauf";
    kettle_gravity: "Kettle gravity" / "Extrakt in der Pfanne";
    runnings_gravity: "Runnings gravity" / "Extrakt im Ablauf";
    kettle_volume: "Kettle volume" / "Pfannenvolumen";
    ph: "pH" / "pH";
    ph_of_runnings: "pH of runnings" / "pH im Ablauf";
    flow: "Flow" / "Durchfluss";
    bed: "Bed pressure drop" / "Differenzdruck";
    pressure_drop: "Pressure drop" / "Differenzdruck";
    bed_resistance: "Bed resistance" / "Treberwiderstand";
    gravity: "Gravity" / "Extrakt";
    volume: "Volume" / "Volumen";
    above_target: "{0} above the target of {1} (±{2})" / "{0} über dem Ziel von {1} (±{2})";
    target: "Target" / "Ziel";
    target_is: "target {0}" / "Ziel {0}";
    floor_is: "floor {0}" / "Grenze {0}";
    ceiling_is: "ceiling {0}" / "Grenze {0}";
    pace_is: "on time with {0}" / "pünktlich mit {0}";
    limit_is: "limit {0}" / "Grenze {0}";
    headroom_is: "headroom {0} %" / "Reserve {0} %";
    resistance_is: "resistance {0} ×10⁹/m" / "Widerstand {0} ×10⁹/m";
    limit_in: "limit in {0} min if this goes on" / "Grenze in {0} min, wenn es so weitergeht";
    below_floor: "below the floor" / "unter der Grenze";
    above_ceiling: "above the ceiling" / "über der Grenze";
    too_fast: "too fast" / "zu schnell";
    too_slow: "too slow" / "zu langsam";
    bed_tight: "tightening" / "zieht sich zu";
    bed_over: "over the limit" / "über der Grenze";
    cooled: "cooled sample" / "gekühlte Probe";
    in_line: "as read in the line" / "wie in der Leitung";
    all_believed: "Every instrument is believed." / "Allen Messgeräten wird geglaubt.";
    and_more: "and {0} more" / "und {0} weitere";
    disagrees: "contradicts the others" / "widerspricht den anderen";
    if_stopped: "If you stop now" / "Wenn jetzt Schluss ist";
    now: "now" / "jetzt";
    at_stop_point: "at the stop-point" / "am Endpunkt";
    top_up: "Top-up liquor" / "Auffüllwasser";
    final_volume: "Volume with it" / "Volumen damit";
    brew_length: "Brew length" / "Ausschlag je Schüttung";
    boil_off: "Below the target: {0} % of the mass must boil off." / "Unter dem Ziel: {0} % der Masse müssten verdampfen.";
    minute_of: "minute {0} of {1}" / "Minute {0} von {1}";
    minute_before: "minute {0}, no wort in the kettle yet" / "Minute {0}, noch keine Würze in der Pfanne";
    no_brew: "No run-off under way" / "Kein Ablauf";
    last_brew: "last: {0}" / "zuletzt: {0}";
    more: "More" / "Mehr";
    // Alarms.
    alarms: "Alarms" / "Alarme";
    no_alarms: "No alarm stands." / "Kein Alarm steht an.";
    no_alarms_beside: "No alarm stands beside those below." / "Kein Alarm außer den folgenden steht an.";
    alarm_over: "It is over. Acknowledge it to clear the list." / "Vorbei. Quittieren nimmt ihn aus der Liste.";
    alarm_of_ended: "Its brew has ended. Acknowledge it to clear the list." / "Sein Sud ist beendet. Quittieren nimmt ihn aus der Liste.";
    alarm_ends: "Its brew has ended; it goes by itself." / "Sein Sud ist beendet; er verschwindet von selbst.";
    do_this: "Do this:" / "Zu tun:";
    acknowledge: "Acknowledge" / "Quittieren";
    acknowledge_all: "Acknowledge all {0}" / "Alle {0} quittieren";
    shelve: "Shelve" / "Zurückstellen";
    unshelve: "Unshelve" / "Zurückholen";
    return_to_service: "Return to service" / "Wieder in Betrieb";
    put_aside: "Shelved or suppressed ({0})" / "Zurückgestellt oder unterdrückt ({0})";
    minutes_ago: "{0} min ago" / "vor {0} min";
    on_link: "{0} on the link {1}" / "{0} an der Verbindung {1}";
    one_by_one: "One by one" / "Einzeln";
    shelve_for: "For how long?" / "Wie lange?";
    reason: "Reason" / "Grund";
    reason_meter: "Instrument is being cleaned" / "Messgerät wird gereinigt";
    reason_known: "Known and being dealt with" / "Bekannt, wird bearbeitet";
    reason_work: "Work at the tun" / "Arbeiten am Bottich";
    shelve_says: "A shelved alarm is silent and comes back by itself. Name and reason go into the record." / "Ein zurückgestellter Alarm schweigt und kommt von selbst wieder. Name und Grund werden aufgezeichnet.";
    priority_low: "low" / "niedrig";
    priority_medium: "medium" / "mittel";
    priority_high: "high" / "hoch";
    priority_critical: "critical" / "kritisch";
    state_normal: "normal" / "normal";
    state_unacknowledged: "not acknowledged" / "nicht quittiert";
    state_acknowledged: "acknowledged" / "quittiert";
    state_returned: "gone, not acknowledged" / "gegangen, nicht quittiert";
    state_shelved: "shelved" / "zurückgestellt";
    state_suppressed: "suppressed" / "unterdrückt";
    state_out_of_service: "out of service" / "außer Betrieb";
    // Acting.
    to_record: "Record" / "Protokoll";
    hand_sample: "Hand sample" / "Handprobe";
    hand_samples: "Hand samples" / "Handproben";
    value: "Value" / "Wert";
    measured_with: "Measured with" / "Gemessen mit";
    density_meter: "Density meter" / "Dichtemesser";
    refractometer: "Refractometer" / "Refraktometer";
    refractometer_says: "°Bx of a sample at 20 °C, or with the instrument's own temperature correction. Divided by the wort factor of {0}." / "°Bx einer Probe bei 20 °C oder mit Temperaturausgleich. Wird durch den Würzefaktor {0} geteilt.";
    before_sampling: "Before sampling:" / "Vor der Probe:";
    mix_kettle: "mix the kettle. Late, thin runnings lie on top, and an unmixed sample misleads." / "die Pfanne mischen. Die späte, dünne Würze liegt oben; eine ungemischte Probe führt irre.";
    cool_sample: "flush the cock and cool the sample to 20 °C. pH as well is of the cooled sample." / "Probehahn spülen und die Probe auf 20 °C kühlen. Auch der pH gilt für die gekühlte Probe.";
    caution_scald: "hot wort scalds." / "heiße Würze verbrüht.";
    caution_kettle: "never fill a kettle on this page's word alone: the hard-wired high-level trip stands. Hot wort scalds." / "nie eine Pfanne allein nach dieser Seite füllen: die festverdrahtete Überfüllsicherung gilt. Heiße Würze verbrüht.";
    caution_rakes: "rakes are rotating machinery. Keep guards and interlocks in place, never open a manway or reach in with rakes powered, follow the site's lock-out procedure and local code." / "Hackwerke sind rotierende Maschinen. Schutzeinrichtungen und Verriegelungen nicht entfernen, nie ein Mannloch öffnen oder hineingreifen, solange das Hackwerk unter Spannung steht; Freischaltverfahren und örtliche Vorschriften befolgen.";
    caution_start: "this starts the watch, not a pump or a valve. Instruments and limits are set by competent people on site." / "dies startet die Überwachung, keine Pumpe und kein Ventil. Messgeräte und Grenzen stellen Fachleute vor Ort ein.";
    caution_mill: "lock out and isolate the mill before setting the gap; grist dust explodes." / "Mühle vor dem Einstellen freischalten und sichern; Malzstaub ist explosionsfähig.";
    note: "Note" / "Notiz";
    notes: "Notes and rakings" / "Notizen und Hacken";
    note_text: "What should stand in the record?" / "Was soll im Protokoll stehen?";
    raking: "Raking" / "Hacken";
    raking_says: "Report it as the rakes start: no instrument sees them here. The bed's figures begin anew after it." / "Beim Anlaufen melden: hier sieht kein Messgerät das Hackwerk. Die Werte des Treberbetts beginnen danach neu.";
    raking_for: "How long do the rakes run?" / "Wie lange läuft das Hackwerk?";
    report_raking: "The rakes are running" / "Das Hackwerk läuft";
    end_runoff: "End run-off" / "Ablauf abschließen";
    end_says: "This ends the watch and closes the record of this brew. It stops no pump and no valve." / "Dies beendet die Überwachung und schließt das Protokoll dieses Suds. Es stoppt keine Pumpe und kein Ventil.";
    start_runoff: "Start run-off" / "Ablauf starten";
    brew: "Brew" / "Sud";
    brew_id: "Brew number" / "Sudnummer";
    recipe: "Recipe" / "Rezept";
    grist: "Grist" / "Schüttung";
    start_of_boil_gravity: "Start-of-boil gravity" / "Pfannevollwürze";
    planned_volume: "Planned volume" / "Geplantes Volumen";
    runoff_time: "Run-off time" / "Ablaufzeit";
    first_wort_gravity: "First-wort gravity" / "Vorderwürze";
    gravity_floor: "Gravity floor" / "Extraktgrenze";
    ph_ceiling: "pH ceiling" / "pH-Grenze";
    ph_basis: "pH ceiling holds for" / "pH-Grenze gilt für";
    optional: "may be empty" / "darf leer bleiben";
    who_title: "Who are you?" / "Wer sind Sie?";
    who_says: "Your name goes into the record beside what you do." / "Ihr Name steht im Protokoll neben dem, was Sie tun.";
    your_name: "Name" / "Name";
    save: "Save" / "Speichern";
    cancel: "Cancel" / "Abbrechen";
    go_on: "Go on" / "Weiter";
    remove: "Delete the last digit" / "Letzte Ziffer löschen";
    saved: "Saved." / "Gespeichert.";
    not_saved: "Not done:" / "Nicht ausgeführt:";
    started: "The run-off is being watched." / "Der Ablauf wird überwacht.";
    ended_now: "The run-off has been ended." / "Der Ablauf ist abgeschlossen.";
    number_needed: "Enter a number." / "Bitte eine Zahl eingeben.";
    text_needed: "Enter something here." / "Bitte ausfüllen.";
    // Charts.
    gravity_chart: "Gravities over kettle volume" / "Extrakt über Pfannenvolumen";
    gravity_chart_says: "Runnings and kettle gravity so far, and their forecast with its band." / "Extrakt im Ablauf und in der Pfanne bisher, und die Vorhersage mit ihrem Band.";
    gravity_legend: "Full lines: measured. Broken lines: forecast, 9 in 10 within the band. Rings: samples of the runnings; squares: of the kettle." / "Volle Linien: gemessen. Gestrichelt: Vorhersage, 9 von 10 im Band. Ringe: Proben des Ablaufs; Quadrate: der Pfanne.";
    bed_chart: "Bed over time" / "Treberbett über der Zeit";
    bed_chart_says: "Pressure drop over the bed, and its resistance with flow and viscosity taken out." / "Differenzdruck über dem Bett und der Widerstand ohne Durchfluss und Viskosität.";
    ph_chart: "pH over kettle volume" / "pH über Pfannenvolumen";
    ph_chart_says: "pH of the runnings so far, and its forecast with its band." / "pH im Ablauf bisher, und die Vorhersage mit ihrem Band.";
    stop_chart: "Projected stop-point over the brew" / "Vorhergesagter Endpunkt über den Sud";
    stop_chart_says: "The projected stop-point with its band, and where it was called." / "Der vorhergesagte Endpunkt mit Band, und wo er gerufen wurde.";
    crush_chart: "Mill gap against yield and resistance" / "Mahlspalt gegen Ausbeute und Widerstand";
    crush_chart_says: "Each dot is a brew, at the gap logged last before it." / "Jeder Punkt ist ein Sud, beim zuletzt eingetragenen Spalt.";
    cross_hair: "Move along it with the pointer or the arrow keys to read it." / "Mit Zeiger oder Pfeiltasten entlanggehen, um abzulesen.";
    minutes_of_brew: "Minutes" / "Minuten";
    litres_per_kg: "Kettle volume per grist, L/kg" / "Pfannenvolumen je Schüttung, L/kg";
    limit: "Limit" / "Grenze";
    legend: "Legend" / "Legende";
    // Table and record.
    table: "Brewer's table" / "Läuterprotokoll";
    table_empty: "The first row comes with the first interval." / "Die erste Zeile kommt mit dem ersten Abstand.";
    minute: "min" / "min";
    since: "since" / "seither";
    show: "Show" / "Zeigen";
    compare: "Compare up to {0} brews" / "Bis zu {0} Sude vergleichen";
    no_brews: "No brew is in the record yet." / "Noch kein Sud im Protokoll.";
    date: "Date" / "Datum";
    extract: "Extract" / "Extrakt";
    extract_yield: "Extract of the grist" / "Ausbeute";
    crush: "Mill gap" / "Mahlspalt";
    report: "Report" / "Bericht";
    plan: "Plan" / "Plan";
    started_at: "Started" / "Begonnen";
    ended_at: "ended" / "beendet";
    not_yet: "not yet" / "noch nicht";
    after: "Reached after" / "Erreicht nach";
    outcome: "Outcome" / "Ergebnis";
    alarms_answered: "Alarms and what was done" / "Alarme und was getan wurde";
    rake_effects: "Rakings and their effect" / "Hacken und seine Wirkung";
    no_raking: "No raking was seen or reported." / "Kein Hacken gesehen oder gemeldet.";
    course: "Course of the brew" / "Verlauf";
    nothing: "Nothing." / "Nichts.";
    stop_against_projection: "Stop-point against projection" / "Endpunkt gegen Vorhersage";
    projected: "projected" / "vorhergesagt";
    band: "9 in 10" / "9 von 10";
    off_by: "off by" / "daneben";
    readings_said: "{0} readings, {1} of them not used." / "{0} Messwerte, davon {1} nicht verwendet.";
    instrument_health: "Instrument health" / "Zustand der Messgeräte";
    readings_gone: "The readings of this brew are past the time they are kept." / "Die Messwerte dieses Suds sind über die Aufbewahrungszeit hinaus.";
    without_value: "without value" / "ohne Wert";
    why_not: "Why readings were not used" / "Warum Messwerte nicht verwendet wurden";
    signatures: "Signatures" / "Unterschriften";
    brewer: "Brewer" / "Brauer";
    operator: "Operator" / "Bediener";
    // The tun and its instruments.
    learnt: "What this tun has taught" / "Was dieser Bottich gelehrt hat";
    profile_of: "Version {0} of {1}. {2} brews teach, {3} were refused." / "Fassung {0} vom {1}. {2} Sude lehren, {3} wurden abgelehnt.";
    no_profile: "Nothing yet: it begins with the end of a first brew." / "Noch nichts: es beginnt mit dem Ende eines ersten Suds.";
    quantity: "Quantity" / "Größe";
    median: "Median" / "Median";
    spread: "Least – greatest" / "Kleinstes – größtes";
    used_for: "Used for" / "Wofür";
    breakthrough: "Wort held back at breakthrough" / "Zurückgehaltene Würze beim Durchbruch";
    stop_volume: "Stop volume" / "Endvolumen";
    stop_over_plan: "Stop volume over plan" / "Endvolumen zum Plan";
    safe_flow: "Safe flow" / "Sicherer Durchfluss";
    trouble_from: "Trouble from, of the planned volume" / "Schwierig ab, vom Planvolumen";
    rake_effect: "Resistance after raking, of that before" / "Widerstand nach dem Hacken, von vorher";
    rake_gain: "Runnings above the forecast after raking" / "Ablaufwürze über der Vorhersage nach dem Hacken";
    ph_rise: "pH rise as runnings fall to a third" / "pH-Anstieg bis auf ein Drittel Extrakt";
    used_for_curve: "forecast: where the first wort ends" / "Vorhersage: wo die Vorderwürze endet";
    used_for_plan: "forecast: how far this site's plans are out" / "Vorhersage: wie weit Pläne hier danebenliegen";
    used_to_compare: "for people: comparing brews; changes no forecast" / "für Menschen: Sude vergleichen; ändert keine Vorhersage";
    used_for_pace: "for people: choosing a pace; changes no forecast" / "für Menschen: Tempo wählen; ändert keine Vorhersage";
    used_to_rake: "for people: whether raking helps; changes no forecast" / "für Menschen: ob Hacken hilft; ändert keine Vorhersage";
    used_for_ph: "for people: how early the pH limit may come" / "für Menschen: wie früh die pH-Grenze kommen kann";
    who_taught: "Which brews taught" / "Welche Sude gelehrt haben";
    taught: "taught" / "hat gelehrt";
    did_not_teach: "did not teach" / "hat nicht gelehrt";
    enter_crush: "Enter this week's crush" / "Schrot dieser Woche eintragen";
    crush_log: "Crush log" / "Schrotprotokoll";
    correct: "Correct" / "Berichtigen";
    correcting: "Corrects the entry of {0}; the earlier one stays in the record." / "Berichtigt den Eintrag vom {0}; der frühere bleibt im Protokoll.";
    no_crush: "Nothing is entered yet. Gap and sieve fractions once a week show what the mill does to yield and bed." / "Noch nichts eingetragen. Spalt und Siebanteile einmal je Woche zeigen, was die Mühle mit Ausbeute und Bett macht.";
    mill_gap: "Mill gap" / "Mahlspalt";
    sieves: "Held back on" / "Rückstand auf";
    on_sieve: "On {0} mm" / "Auf {0} mm";
    in_pan: "Pan" / "Boden";
    instruments_say: "Raw: as it came. Believed: after limits, status and filter; without a value the cause stands beside it." / "Roh: wie gekommen. Geglaubt: nach Grenzen, Status und Filter; ohne Wert steht die Ursache daneben.";
    instrument: "Instrument" / "Messgerät";
    measures: "Measures" / "Misst";
    raw_value: "Raw" / "Roh";
    believed_value: "Believed" / "Geglaubt";
    rate: "per min" / "je min";
    status: "Status" / "Status";
    last_change: "Last change" / "Letzte Änderung";
    never_read: "never read" / "nie gelesen";
    none_this_brew: "none in this brew" / "keine in diesem Sud";
    at_minute: "min {0}:" / "min {0}:";
    links: "Links and receivers" / "Verbindungen und Empfänger";
    answers: "answers" / "antwortet";
    does_not_answer: "does not answer" / "antwortet nicht";
    technical_message: "Technical message" / "Technische Meldung (englisch)";
    no_links: "No link and no receiver is configured." / "Keine Verbindung und kein Empfänger ist eingerichtet.";
    broker_of_readings: "Broker of readings" / "Broker der Messwerte";
    broker_of_lines: "Broker of messages" / "Broker der Meldungen";
    series_database: "Time-series database" / "Zeitreihendatenbank";
    on: "on" / "an";
    off: "off" / "aus";
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_languages_say_something_with_the_same_figures() {
        for (key, english, german) in PAIRS {
            assert!(!english.is_empty() && !german.is_empty(), "{key}");
            for place in ["{0}", "{1}", "{2}", "{3}"] {
                let the_same = english.contains(place) == german.contains(place);
                assert!(the_same, "{key}: {place} stands in one language only");
            }
        }
    }
}
