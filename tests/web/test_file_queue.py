"""Files that are brought in are read one after another; who comes when many wait is told to come again."""

from __future__ import annotations

import asyncio

from cubital.web.arrival import FileQueue


def test_one_file_is_read_at_a_time_and_the_fifth_is_told_to_come_again() -> None:
    async def bring_six() -> tuple[int, list[bool]]:
        queue, inside, most = FileQueue(most_waiting=4), 0, 0
        go = asyncio.Event()

        async def bring() -> bool:
            nonlocal inside, most
            async with queue.turn() as is_its_turn:
                if is_its_turn:
                    inside += 1
                    most = max(most, inside)
                    await go.wait()
                    await asyncio.sleep(0)
                    inside -= 1
                return is_its_turn

        tasks = [asyncio.create_task(bring()) for _ in range(6)]
        await asyncio.sleep(0.01)
        go.set()
        return most, [await task for task in tasks]

    most, let_in = asyncio.run(bring_six())
    assert most == 1
    assert let_in == [True, True, True, True, False, False]


def test_a_turn_is_given_back_when_reading_fails() -> None:
    async def fail_and_go_on() -> bool:
        queue = FileQueue(most_waiting=1)
        try:
            async with queue.turn():
                raise ValueError
        except ValueError:
            pass
        async with queue.turn() as is_its_turn:
            return is_its_turn

    assert asyncio.run(fail_and_go_on())
