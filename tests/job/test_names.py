import pytest

from obbligato.job.names import lint, plain


@pytest.mark.parametrize(
    ("title", "expected"),
    [("Night Ferry", "NightFerry"), ("Où est la nuit?", "OuEstLaNuit"), ("don't go", "DontGo"), ("夜", "Song")],
)
def test_titles_become_plain_words(title, expected):
    assert plain(title) == expected


@pytest.mark.parametrize("name", ["a b.wav", "Mix final.wav", "a.b.wav", "é.wav", "Track_FINAL.wav", "Audio1.wav"])
def test_bad_names_are_caught(name):
    assert lint(name)
