"""The compiled loops of the search: arrays and scalars in, arrays and scalars out.

Nothing here knows of hides, parts or units beyond millimetres and radians, and nothing
raises. All loops work in one memory, described at the top of ``memory``; ``poses`` put parts in
place in it, ``overlap`` and ``ground`` measure what is wrong there, ``moves`` look for a better
place of one part, ``layout`` moves one part after another, and ``contacts`` are what moving all
at once starts from. ``listed`` and ``convex`` prepare tables; ``simd`` is four numbers at a
time; :mod:`nest.compiled` says how all of it is compiled.
"""
