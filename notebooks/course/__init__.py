"""The course of notebook 5: its words, figures and panel. It stands on the kit, which knows nothing of it."""

from course.lessons import all_lessons, lesson
from course.panel import LessonPanel

__all__ = ["LessonPanel", "all_lessons", "lesson"]
