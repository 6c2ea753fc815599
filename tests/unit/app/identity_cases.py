"""Cases of the two-identifier check that the server and the script of the page must decide alike."""

from __future__ import annotations

REQUEST = ("Invented, Ottoline", "X-000123", "1958-03-02")

AGREE = [
    ("Invented, Ottoline", "1958-03-02"),
    ("Invented, Ottoline", "19580302"),
    ("ottoline invented", "X-000123"),
    ("  OTTOLINE   INVENTED ", " X-000123 "),
    ("invented,ottoline", " 1958-03-02"),
    ("Ｏttoline Invented", "X-000123"),
]

DIFFER = [
    ("", ""),
    ("Ottoline Invented", ""),
    ("", "1958-03-02"),
    ("Invented Ottoline", "1958-03-02"),
    ("Ottoline", "1958-03-02"),
    ("Ottoline Inventet", "1958-03-02"),
    ("Ottoliné Invented", "1958-03-02"),
    ("Ottoline Invented", "1958-02-03"),
    ("Ottoline Invented", "02.03.1958"),
    ("Ottoline Invented", "X-000132"),
    ("Ottoline Invented", "x-000123"),
    ("Ottoline Invented", "X-00012"),
    ("Ottoline Invented", "X000123"),
    ("Ottoline, Invented", "X-000123"),
    ("X-000123", "Ottoline Invented"),
]

NO_REQUEST = [
    (("", "X-1", "1958-03-02"), "name"),
    (("N" * 101, "X-1", "1958-03-02"), "name"),
    (("Name\u0007d", "X-1", "1958-03-02"), "name"),
    (("Ottoline", " ", "1958-03-02"), "number"),
    (("Ottoline", "X-1", "2 March 1958"), "born"),
    (("Ottoline", "X-1", "1958-02-30"), "born"),
]
