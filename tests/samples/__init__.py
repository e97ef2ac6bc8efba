"""Run files, cards and rig files as earlier versions wrote them. None is changed; a new way of writing adds one."""
