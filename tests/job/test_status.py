from obbligato.job.keys import choice_key
from obbligato.job.status import status


def test_after_a_delivery_nothing_that_was_skipped_is_asked_for(folder):
    assert status(folder).next_step.endswith("obbligato map JOB")
    made = folder.made("deliver", "delivery/delivery_01", from_key=choice_key(folder))
    folder.save("deliver", "delivered", made=made)
    assert status(folder).next_step.endswith("obbligato account JOB")
    folder.save("choose", "by hand", overrides={1: 2})
    assert status(folder).next_step.endswith("obbligato map JOB")


def test_the_sentence_and_the_command_stand_apart_and_together(folder):
    """A page shows the sentence; a terminal shows both, the command last."""
    result = status(folder)
    assert (result.next.stage, result.next.sentence) == ("map", "Map the song.")
    assert result.next_step == "Next: map the song: obbligato map JOB"
    for stage in result.stages:
        assert "obbligato" not in stage.sentence
        assert stage.with_command.endswith(stage.command)
