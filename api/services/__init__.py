"""Use cases: functions of (session, command), one transaction each, in rooms.

A room is a folder that answers one question, written in its ``__init__``. Each may use the rooms of
the lines below its own; those of one line do not know each other:

    imports       overview    upkeep                    whole laboratories, pages, is all well
    certificates  setups      evidence    notices       what is recorded, planned, shown, told
    alerts                                              what failed and waits for an answer
    grounds                                             what speaks against issuing a certificate
    recalls                                             whom a fault reaches, and how much
    casework      decisions                             what is done about it; does a result conform
    feed          life        uncertainty               what happened, was borne, is known
    access        batches     records                   who asks, many results, what there is
    base                                                what every room stands on

The contract "rooms of the services" in ``pyproject.toml`` holds them to it.
"""
