"""Use cases: functions of (session, command), one transaction each."""
