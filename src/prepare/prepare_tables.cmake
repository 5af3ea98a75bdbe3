# Turns the tables of a preparation sheet in the folder REFS into a C file (TO), so that there is
# one copy of the values: preparation.csv, preparation_cuts.csv, preparation_hardness.csv,
# etchants.csv.
set(number "([0-9.]+)")
set(range "${number},${number}")
set(tail "\"([^\"]*)\",(read|memory-unverified|computed)$")

# CMake keeps nine groups of a match at most: patterns are of the beginning and of the end of a row.
function(rows_of table start end out)
  file(STRINGS "${REFS}/${table}" rows ENCODING UTF-8
       REGEX "^[a-z][a-z+-]*,.*\",(read|memory-|computed)")
  if(rows STREQUAL "")
    message(FATAL_ERROR "${REFS}/${table}: no rows")
  endif()
  foreach(row IN LISTS rows)
    if(NOT (row MATCHES "^${start}" AND row MATCHES "${end}"))
      message(FATAL_ERROR "${REFS}/${table}: cannot be read: ${row}")
    endif()
  endforeach()
  set(${out} "${rows}" PARENT_SCOPE)
endfunction()

set(word "([a-z+-]+)")
set(text "([^,]+)")
set(start "${word},${word},${word},${word},${text},([0-9.]*),")
set(end ",${text},${text},${range},${range},${tail}")
rows_of(preparation.csv "${start}" "${end}" rows)
set(steps "")
foreach(row IN LISTS rows)
  string(REGEX MATCH "^${start}" found "${row}")
  set(grain "${CMAKE_MATCH_6}")
  if(grain STREQUAL "")
    set(grain 0) # a paper: its grain stands in fepa_p_series.csv
  endif()
  string(APPEND steps "    {\"${CMAKE_MATCH_1}\", \"${CMAKE_MATCH_2}\", \"${CMAKE_MATCH_3}\", "
                      "\"${CMAKE_MATCH_4}\",\n     \"${CMAKE_MATCH_5}\", ${grain}, ")
  string(REGEX MATCH "${end}" found "${row}")
  string(APPEND steps "\"${CMAKE_MATCH_1}\",\n     \"${CMAKE_MATCH_2}\", ${CMAKE_MATCH_3}, "
                      "${CMAKE_MATCH_4}, ${CMAKE_MATCH_5}, ${CMAKE_MATCH_6},\n"
                      "     \"${CMAKE_MATCH_7}\", \"${CMAKE_MATCH_8}\"},\n")
endforeach()

rows_of(preparation_cuts.csv "${word},${range}," "${tail}" rows)
set(cuts "")
foreach(row IN LISTS rows)
  string(REGEX MATCH "^${word},${range}," found "${row}")
  string(APPEND cuts "    {\"${CMAKE_MATCH_1}\", ${CMAKE_MATCH_2}, ${CMAKE_MATCH_3}},\n")
endforeach()

rows_of(preparation_hardness.csv "${word},${range}," "${tail}" rows)
set(classes "")
foreach(row IN LISTS rows)
  string(REGEX MATCH "^${word},${range}," found "${row}")
  string(APPEND classes "    {\"${CMAKE_MATCH_1}\", ${CMAKE_MATCH_2}, ${CMAKE_MATCH_3}},\n")
endforeach()

rows_of(etchants.csv "${word},${word},${range},${range}," "${tail}" rows)
set(etchants "")
foreach(row IN LISTS rows)
  string(REGEX MATCH "^${word},${word},${range},${range},${tail}" found "${row}")
  string(APPEND etchants "    {\"${CMAKE_MATCH_1}\", \"${CMAKE_MATCH_2}\", ${CMAKE_MATCH_3}, "
                         "${CMAKE_MATCH_4}, ${CMAKE_MATCH_5}, ${CMAKE_MATCH_6},\n"
                         "     \"${CMAKE_MATCH_7}\", \"${CMAKE_MATCH_8}\"},\n")
endforeach()

file(WRITE "${TO}" "/* Made from refs/: preparation.csv, preparation_cuts.csv,
 * preparation_hardness.csv, etchants.csv. */
#include \"prepare_priv.h\"

const struct kb_prepare_row kb_prepare_rows[] = {
${steps}};
const size_t kb_prepare_row_count = sizeof kb_prepare_rows / sizeof *kb_prepare_rows;

const struct kb_prepare_damage kb_prepare_damages[] = {
${cuts}};
const size_t kb_prepare_damage_count = sizeof kb_prepare_damages / sizeof *kb_prepare_damages;

const struct kb_prepare_class kb_prepare_classes[] = {
${classes}};
const size_t kb_prepare_class_count = sizeof kb_prepare_classes / sizeof *kb_prepare_classes;

const struct kb_prepare_bath kb_prepare_baths[] = {
${etchants}};
const size_t kb_prepare_bath_count = sizeof kb_prepare_baths / sizeof *kb_prepare_baths;
")
