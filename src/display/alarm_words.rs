//! What alarms are called in both languages, and what German says to do about them.
//!
//! Owns names and orders; the order of the rows is that of `AlarmId::ALL`. English orders stand in the alarm table.

/// What alarms are called, and what German says to do about them.
pub const ALARMS: [(&str, &str, &str); 16] = [
    (
        "Channelling",
        "Kanalbildung",
        "Ablauf drosseln, dann sanft hacken: eine halbe Umdrehung mit kleinster Drehzahl. Den Endpunkt deshalb allein nicht verschieben.",
    ),
    (
        "Bed compaction",
        "Treber ziehen sich zu",
        "Ablauf um ein Fünftel drosseln und den Differenzdruck beobachten; steigt er weiter, sanft hacken, eine halbe Umdrehung mit kleinster Drehzahl.",
    ),
    (
        "Stuck bed",
        "Treber sitzen fest",
        "Ablauf anhalten, Treber entspannen lassen, wenn im Betrieb üblich unterschwänzen, sanft hacken, umpumpen bis klar, langsam anfahren.",
    ),
    (
        "Gravity floor",
        "Extraktgrenze",
        "Ablauf beenden. Die Pfanne mit dem angezeigten Wasser auffüllen.",
    ),
    (
        "pH ceiling",
        "pH-Grenze",
        "Ablauf beenden oder, wenn das Rezept es erlaubt, das Überschwänzwasser säuern. Die Pfanne mit dem angezeigten Wasser auffüllen.",
    ),
    (
        "Tannin limit ahead",
        "Gerbstoffgrenze naht",
        "Ende an der Grenze einplanen und das angezeigte Auffüllwasser bereithalten.",
    ),
    (
        "Stop-point ahead",
        "Endpunkt naht",
        "Am Bottich sein. Überschwänzen beenden, damit das Bett in die letzten Liter leerläuft.",
    ),
    (
        "Stop-point reached",
        "Endpunkt erreicht",
        "Den Ablauf jetzt beenden.",
    ),
    (
        "Kettle high level",
        "Pfanne fast voll",
        "Den Ablauf jetzt beenden.",
    ),
    (
        "Run-off too fast",
        "Ablauf zu schnell",
        "Ablauf auf das angezeigte Tempo drosseln.",
    ),
    (
        "Run-off too slow",
        "Ablauf zu langsam",
        "Lässt der Differenzdruck Reserve, den Ablauf etwas öffnen; sonst sanft hacken, eine halbe Umdrehung mit kleinster Drehzahl.",
    ),
    (
        "Turbid runnings",
        "Trüber Ablauf",
        "Überschwänzen anhalten, sanft hacken, umpumpen bis klar.",
    ),
    (
        "Instrument fault",
        "Messgerät gestört",
        "Das genannte Messgerät prüfen; inzwischen Handproben nehmen.",
    ),
    (
        "Instruments disagree",
        "Messgeräte widersprechen sich",
        "Mit einer Handprobe oder dem Schauglas vergleichen und eintragen; das genannte Messgerät prüfen.",
    ),
    (
        "Link lost",
        "Verbindung verloren",
        "Netz, Koppler und seine Versorgung prüfen; inzwischen Handproben nehmen.",
    ),
    (
        "Delivery delayed",
        "Weitergabe verzögert",
        "Den Bottich hier weiter beobachten; Broker oder Datenbank prüfen.",
    ),
];
