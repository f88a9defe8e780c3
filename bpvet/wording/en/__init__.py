"""English: what answers and models come to in words, a module a topic.

`trend/` words the answers of one animal's trend; `safety/` what is urgent and when to measure
again; `kidney/` laboratory values; `agreement/` two methods, and two situations. The other modules
bear the names of the topics as every layer has them. `phrases` writes dates, numbers and lists.
"""
