"""What joins the rooms: a job from its file to its result folder, and what else a command does as one."""
