"""The languages that programs' words are tried in."""

LOCALES = (
    "de_DE fr_FR es_ES it_IT pl_PL pt_BR pt_PT nl_NL cs_CZ sv_SE da_DK nb_NO hu_HU tr_TR fi_FI ru_RU uk_UA ja_JP ko_KR"
    " zh_CN"
).split()
