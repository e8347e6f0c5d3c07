"""Everyday words for our columns, in several European languages (common usage, no source)."""

from __future__ import annotations

SYNONYMS: dict[str, tuple[str, ...]] = {
    "job_id": (
        "job", "job no", "job number", "job ref", "order no", "order number", "repair no",
        "repair number", "ticket", "ticket no", "ticket id", "work order", "reference", "ref", "id",
        "no", "nr", "number", "numero",
        "auftrag", "auftragsnummer", "auftrag nr", "reparaturnummer", "vorgang",
        "numero de reparation", "bon de travail", "numero ordre", "dossier",
        "orden", "numero de orden", "orden de trabajo", "commessa", "numero ordine", "scheda",
        "opdracht", "opdrachtnummer", "bon", "zlecenie", "numer zlecenia", "ordem de servico",
    ),
    "received": (
        "date received", "received on", "date in", "in date", "booked in", "arrived", "arrival",
        "arrival date", "intake", "intake date", "checked in", "drop off",
        "eingang", "eingangsdatum", "annahme", "annahmedatum", "angenommen",
        "date de reception", "recu le", "date entree", "arrivee", "entree",
        "fecha de entrada", "recibido", "entrada", "data ingresso", "data arrivo", "ricevuto",
        "ontvangen", "ontvangstdatum", "binnenkomst", "data przyjecia", "recebido",
    ),
    "handed_back": (
        "date out", "out date", "returned", "return date", "date returned", "given back",
        "collected", "collection date", "completed", "completion date", "finished", "closed",
        "delivered", "delivery date", "dispatched", "shipped", "picked up",
        "ausgang", "ausgangsdatum", "abholung", "abgeholt", "zurueckgegeben", "erledigt",
        "fertig", "date de sortie", "rendu le", "restitution", "livre le", "sortie",
        "fecha de salida", "entregado", "entrega", "salida", "data uscita", "consegna",
        "data consegna", "restituito", "opgehaald", "teruggegeven", "afgehaald", "data wydania",
        "devolvido",
    ),
    "model": (
        "model name", "model no", "type", "machine", "machine type", "appliance", "device", "item",
        "product", "equipment", "unit type", "modell", "geraet", "geraetetyp", "typ", "produkt",
        "modele", "appareil", "produit", "modelo", "aparato", "producto", "equipo",
        "modello", "apparecchio", "prodotto", "toestel", "apparaat", "urzadzenie", "aparelho",
    ),
    "unit_serial": (
        "serial", "serial no", "serial number", "sn", "s n", "serial nr", "unit no",
        "seriennummer", "serien nr", "numero de serie", "no serie", "num serie",
        "matricola", "numero di serie", "serienummer", "numer seryjny",
    ),
    "customer": (
        "client", "customer id", "customer no", "customer ref", "customer name", "account",
        "owner", "kunde", "kundennummer", "kunden nr", "cliente", "codigo cliente",
        "numero client", "klant", "klantnummer", "klient",
    ),
    "postcode": (
        "post code", "zip", "zip code", "postal code", "plz", "postleitzahl", "code postal",
        "codigo postal", "cap", "kod pocztowy",
    ),
    "phone": (
        "telephone", "tel", "mobile", "phone number", "phone no", "cell", "telefon", "handy",
        "telefonnummer", "portable", "telefono", "movil", "cellulare", "telefoon", "telefone",
    ),
    "unit_age_years": (
        "age", "unit age", "age years", "machine age", "years old", "alter", "geraetealter",
        "age appareil", "antiguedad", "edad", "eta", "leeftijd", "wiek", "idade",
    ),
    "condition": (
        "state", "condition score", "grade", "wear", "zustand", "etat", "estado", "stato",
        "condizione", "staat", "conditie", "stan",
    ),
    "earlier_repair": (
        "repaired before", "previous repair", "prior repair", "earlier repairs", "vorreparatur",
        "reparation anterieure", "reparacion previa", "riparazione precedente",
        "eerdere reparatie",
    ),
    "earlier_work": (
        "previous work", "state of previous work", "state of earlier repair", "quality of previous "
        "repair", "zustand der vorreparatur", "etat de la reparation anterieure",
        "estado de la reparacion previa", "stato della riparazione precedente",
        "staat van eerdere reparatie",
    ),
    "complaint": (
        "fault reported", "reported fault", "problem", "symptom", "customer complaint", "issue",
        "fault description", "beanstandung", "fehlerbeschreibung", "reklamation", "panne",
        "plainte", "averia", "problema", "difetto", "guasto", "klacht", "usterka", "queixa",
    ),
    "notes": (
        "note", "remarks", "comments", "comment", "bench notes", "work done", "bemerkung",
        "notizen", "remarques", "commentaire", "notas", "observaciones", "osservazioni",
        "opmerkingen", "uwagi", "observacoes",
    ),
    "root_cause": (
        "cause", "fault", "fault found", "diagnosis", "failed part", "fault code", "defect",
        "ursache", "fehlerursache", "diagnose", "diagnostic", "causa",
        "diagnostico", "diagnosi", "oorzaak", "przyczyna",
    ),
    "upstream_cause": (
        "underlying cause", "made it fail", "cause behind", "primary cause", "grundursache",
        "cause profonde", "causa de fondo", "causa originaria", "achterliggende oorzaak",
    ),
    "cause_removed": (
        "cause fixed", "cause put right", "underlying cause fixed", "ursache behoben",
        "cause eliminee", "causa eliminada", "causa eliminata", "oorzaak verholpen",
    ),
    "technician": (
        "tech", "engineer", "repairer", "repaired by", "done by", "bench", "fitter", "mechanic",
        "techniker", "monteur", "bearbeiter", "technicien", "reparateur", "tecnico",
        "monteur naam", "technik",
    ),
    "bench_minutes": (
        "minutes", "time spent", "labour minutes", "labor minutes", "work minutes", "bench time",
        "repair time", "arbeitszeit", "minuten", "temps passe", "duree", "minutos", "tiempo",
        "minuti", "tempo", "tijd", "czas pracy",
    ),
    "parts_cost": (
        "parts", "parts price", "cost of parts", "material cost", "materials", "teilekosten",
        "materialkosten", "ersatzteile", "cout pieces", "pieces", "coste piezas", "repuestos",
        "costo ricambi", "ricambi", "onderdelen", "materiaalkosten", "koszt czesci",
    ),
    "price": (
        "total", "charge", "charged", "amount", "invoice", "invoice total", "bill", "paid",
        "preis", "betrag", "rechnungsbetrag", "prix", "montant", "precio", "importe", "prezzo",
        "importo", "prijs", "bedrag", "cena", "preco",
    ),
    "term_days": (
        "warranty", "warranty days", "guarantee", "guarantee days", "warranty term", "cover days",
        "garantie", "garantietage", "gewaehrleistung", "garantie jours", "garantia",
        "dias de garantia", "garanzia", "giorni di garanzia", "garantiedagen", "gwarancja",
    ),
    "notified": (
        "date notified", "reported", "reported on", "date reported", "first contact", "gemeldet",
        "meldedatum", "signale le", "avisado", "fecha aviso", "segnalato", "gemeld", "zgloszono",
    ),
    "relation": (
        "relation to earlier job", "same fault", "comeback type", "return type", "return reason",
        "bezug", "retour type", "relacion", "relazione", "relatie",
    ),
    "decision": (
        "warranty decision", "who paid", "covered", "claim decision", "outcome", "entscheidung",
        "kulanz", "prise en charge", "decisione", "beslissing", "decyzja",
    ),
    "claim_cost": (
        "cost of claim", "warranty cost", "comeback cost", "claim amount", "garantiekosten",
        "cout garantie", "coste garantia", "costo garanzia", "koszt gwarancji",
    ),
    "ended_on": (
        "end date", "scrapped on", "date scrapped", "written off", "disposal date", "entsorgt am",
        "verschrottet am", "mis au rebut le", "fecha de baja", "data rottamazione", "afgedankt op",
    ),
    "ended_how": (
        "end reason", "end of life", "disposal", "how it ended", "scrapped or refunded",
        "endgrund", "fin de vie", "motivo de baja", "motivo fine", "reden einde",
    ),
}  # fmt: skip
