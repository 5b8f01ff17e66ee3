"""What is taught, as data and claims; it knows the simulator and nothing of the screen.

Empty today: the lessons are the next chapters of the work.
"""
