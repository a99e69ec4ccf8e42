// Files for one test, gone afterwards.
#pragma once

#include <fstream>
#include <iterator>
#include <string>

#include "unit/temp_folder.hpp"

struct Scratch : tramlog::test::TempFolder {
  static std::string read(const std::string& path) {
    std::ifstream in(path, std::ios::binary);
    return {std::istreambuf_iterator<char>(in), {}};
  }
};
