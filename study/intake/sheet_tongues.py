"""Words in German, French, Italian, Spanish and Dutch: which of our columns a heading names, and units of time."""

from __future__ import annotations

IN_OTHER_TONGUES: dict[str, str] = {
    "coupon": "prüfling|prüfkörper|probekörper|probe|proben nr|probennummer|prüfling nr|éprouvette|échantillon|"
    "n° éprouvette|n° échantillon|provino|campione|n provino|n campione|probeta|muestra|proefstuk|monster",
    "read_on": "datum|prüfdatum|messdatum|gemessen am|geprüft am|date d essai|date de mesure|mesuré le|date de l essai|"
    "data prova|data misura|data della prova|misurato il|fecha|fecha de ensayo|fecha de medida|meetdatum|testdatum|"
    "gemeten op",
    "removal_force": "kraft|abzugskraft|abzugkraft|abreisskraft|höchstkraft|maximalkraft|schälkraft|"
    "haftkraft|force d arrachement|force de pelage|force maximale|force max|forza|forza di distacco|forza massima|"
    "fuerza|fuerza de arranque|fuerza máxima|trekkracht|afpelkracht|kracht",
    "force_unit": "einheit|unité|unità|unidad|eenheid",
    "failure_pattern": "bruchbild|bruchart|versagensart|faciès de rupture|mode de rupture|type de rupture|rupture|"
    "tipo di rottura|modo di rottura|rottura|modo de fallo|tipo de rotura|tipo de fallo|breukbeeld|breuktype",
    "side": "seite|bruchseite|côté|lato|lado|zijde|kant",
    "residue_grade": "rückstand|rückstände|rückstandsnote|résidu|résidus|note de résidu|residuo|residui|"
    "grado di residuo|residuos|resto|restos|residu|resten",
    "residue_area_percent": "rückstand fläche|rückstandsfläche|rückstand fläche percent|surface de résidu|"
    "surface résiduelle|area residuo|area del residuo|área de residuo|residuoppervlak",
    "residue_cleaned": "rückstand nach reinigung|résidu après nettoyage|residuo dopo pulitura|"
    "residuo tras limpieza|residu na reiniging",
    "cleaning_step": "reinigung|reinigungsschritt|nettoyage|pulitura|limpieza|reiniging",
    "hold_angle_deg": "kippwinkel|haltewinkel|neigung|neigungswinkel|angle d inclinaison|angle de chute|"
    "angolo di inclinazione|inclinazione|ángulo de inclinación|hellingshoek|kantelhoek",
    "temperature_c": "temperatur|raumtemperatur|température|temperatura|temperatuur",
    "humidity_percent": "feuchte|luftfeuchte|relative feuchte|rel feuchte|rf|humidité|humidité relative|hr|umidità|"
    "umidità relativa|ur|humedad|humedad relativa|luchtvochtigheid|relatieve vochtigheid|rv",
    "instrument": "gerät|messgerät|prüfgerät|appareil|strumento|instrumento|aparato|toestel",
    "read_by": "prüfer|prüferin|bearbeiter|bearbeiterin|gemessen von|opérateur|opératrice|mesuré par|operatore|"
    "operatrice|operador|operadora|medido por|uitvoerder",
    "note": "bemerkung|bemerkungen|anmerkung|anmerkungen|notiz|remarque|remarques|commentaire|commentaires|"
    "osservazioni|nota|notas|observaciones|opmerking|opmerkingen",
    "adhesive": "klebstoff|kleber|klebmittel|adhésif|colle|adesivo|colla|adhesivo|pegamento|lijm|kleefstof",
    "lot": "charge|chargen nr|chargennummer|n° de lot|lotto|lote|partij",
    "substrate": "untergrund|oberfläche|trägermaterial|fügeteil|substrat|matériau|substrato|supporto|"
    "sustrato|ondergrond",
    "finish": "beschichtung|finition|finitura|acabado|afwerking",
    "preparation": "vorbehandlung|vorbereitung|préparation|preparazione|preparación|voorbehandeling",
    "environment": "lagerung|lagerort|umgebung|alterung|environnement|stockage|vieillissement|ambiente|"
    "conservazione|invecchiamento|almacenamiento|envejecimiento|opslag|omgeving|veroudering",
    "placed_on": "geklebt am|aufgeklebt am|verklebt am|angebracht am|collé le|posé le|date de collage|date de pose|"
    "incollato il|data incollaggio|applicato il|pegado el|fecha de pegado|colocado el|geplakt op|aangebracht op",
    "pulled_on": "abgenommen am|abgezogen am|entfernt am|gezogen am|retiré le|décollé le|date de retrait|"
    "rimosso il|staccato il|data rimozione|retirado el|despegado el|fecha de retirada|verwijderd op|afgenomen op",
    "pull_kind": "art der abnahme|verbleib|devenir|esito|destino|uitkomst",
    "pull": "intervall|zeitpunkt|alterungsdauer|verweildauer|échéance|durée|intervalle|intervallo|scadenza|durata|"
    "intervalo|plazo|duración|tijdstip|duur",
    "dot_diameter_mm": "durchmesser|punktdurchmesser|klebepunkt|ø klebepunkt|ø|diamètre|diamètre du point|diametro|"
    "diametro del punto|diámetro|diámetro del punto|puntdiameter",
    "dots": "anzahl punkte|punkte|klebepunkte|nombre de points|numero di punti|n punti|número de puntos|"
    "aantal punten",
    "dwell_load_n": "zuglast|dauerlast|last|charge suspendue|carico|carga|belasting",
}  # fmt: skip
"""Column -> headings that name it once brackets, units and punctuation are off."""

DOUBTFUL_IN_OTHER_TONGUES = frozenset(
    (
        "probe", "monster", "seite", "lato", "lado", "kant", "zijde",
        "rupture", "rottura", "rf", "hr", "ur", "rv", "charge", "last", "carico", "carga", "belasting", "ø",
        "oberfläche", "supporto", "matériau", "ambiente", "alterung", "vieillissement", "verbleib", "devenir", "esito",
        "destino", "uitkomst", "zeitpunkt", "durée", "durata", "duración", "duur", "punkte", "intervallo", "intervalo",
        "reinigung", "nettoyage", "pulitura", "limpieza", "reiniging", "partij", "resto", "restos", "resten",
    )
)  # fmt: skip
"""Of these, what may be another column in another laboratory: offered, not taken."""

TIME_UNITS = {
    word: unit
    for unit, words in {
        "d": "d day days tag tage tagen jour jours giorno giorni día días dia dias dag dagen",
        "w": "w wk wks week weeks woche wochen semaine semaines settimana settimane semana semanas weken",
        "m": "m mo mos mon month months monat monate monaten mois mese mesi mes meses maand maanden",
        "y": "y yr yrs year years jahr jahre jahren j an ans année années anno anni año años jaar jaren",
    }.items()
    for word in words.split()
}
"""Words for days, weeks, months and years -> d, w, m or y."""
