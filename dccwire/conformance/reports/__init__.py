"""What is made of a report: text, a page and its pictures, JUnit XML, the evidence that it shows.

Room: reports in, text out; nothing is judged here.
"""
