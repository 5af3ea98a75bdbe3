# Puts the page's own files (FILES, of FOLDER) byte by byte into a C file (TO), as a table by name.
# page.html answers to the empty name.
set(tables "")
set(rows "")
set(count 0)
foreach(name IN LISTS FILES)
  file(READ "${FOLDER}/${name}" bytes HEX)
  if(bytes STREQUAL "")
    message(FATAL_ERROR "${name} is empty")
  endif()
  string(REGEX REPLACE "([0-9a-f][0-9a-f])" "0x\\1," bytes "${bytes}")
  string(APPEND tables "static const uint8_t file_${count}[] = {${bytes}};\n")
  if(name MATCHES "\\.html$")
    set(type "text/html")
  elseif(name MATCHES "\\.css$")
    set(type "text/css")
  elseif(name MATCHES "\\.js$")
    set(type "text/javascript")
  else()
    message(FATAL_ERROR "${name} is of no kind that the page has")
  endif()
  set(asked "${name}")
  if(name STREQUAL "page.html")
    set(asked "")
  endif()
  string(APPEND rows
    "    {\"${asked}\", \"${type}; charset=utf-8\", file_${count}, sizeof file_${count}},\n")
  math(EXPR count "${count} + 1")
endforeach()
file(WRITE "${TO}" "/* Made from the files of src/review/page. */
#include \"serve_priv.h\"

#include <string.h>

${tables}
static const struct kb_asset assets[] = {
${rows}};

const struct kb_asset *kb_asset_find(const char *name) {
    for (size_t i = 0; i < sizeof assets / sizeof assets[0]; i++) {
        if (strcmp(assets[i].name, name) == 0) {
            return &assets[i];
        }
    }
    return NULL;
}
")
